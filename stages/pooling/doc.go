// Package pooling adds up what several operators found: their bundles' verdicts become one verdict for each claim and band.
//
// # What is pooled
//
// Two studies ask the same question if claim name, kind, arms in their order, direction, shape, distances, band and declared step are the
// same. A study enters with its estimate and the interval that its verdict rests on, if the order of its arms was random, its
// trial is over, and the claim was sealed or declared with the others. Everything else is listed with its reason. Claims on the
// match and on repetition are counted, not pooled.
//
// # The sampling variance
//
// A verdict's interval is an inverted sign-flip test over blocks. For blocks whose differences scatter evenly that is close to the
// interval of Student's t with blocks-1 degrees of freedom (Fisher, The Design of Experiments, 1935, section 21; Lehmann and Romano, Testing
// Statistical Hypotheses, 3rd edition, 2005, section 15.2), so
//
//	variance = ((high - low)/2 / t(0.975, blocks - 1))^2
//
// The ends are rounded outward to 0.01 dB, which errs towards too great a variance by little. A reciprocity claim's unit is the
// region, so there the regions stand for the blocks. An open trial's interval holds however often one looks and is wider: its
// variance comes out too great, and its weight too small. How well the pooled interval then holds the truth is simulated in
// the tests (TestCoverage).
//
// # Models
//
// Level, null, known_step, heard_by and reciprocity: random effects, REML, Knapp and Hartung (package meta). The plain interval is
// shown; beside it stands the guarded one, whose factor is never below 1, and no verdict but "undecided" is given unless both
// agree. Directivity: vectors (cos, sin) of each harmonic in a frame, "north" or "wire"; in the frame of the wire each is turned back by
// the azimuth of that place's wire. A claim of the shape any has two vectors; its p is twice the lesser of theirs.
//
// # One operator, one study
//
// Experiments of one operator share the station, the ground and the habits, so they are one study: the mean weighted by the inverse
// variances, with the weighted mean of the standard errors for its own, as if the errors were wholly dependent. That is the
// greatest standard error that such a mean can have.
//
// # What it does not do
//
// It can't see who did not share. It opens no file and knows no experiment file. The order of the studies changes nothing.
package pooling
