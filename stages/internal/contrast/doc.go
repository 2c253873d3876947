// Package contrast compares two arms of a randomised trial from signal reports that are censored at
// the decoding threshold: by how many decibels arm A is heard better than arm B, whether that
// depends on the direction, and how sure both are.
//
// # Model
//
// A trial has B blocks; in each a fair coin decided which arm was on the air first. For a
// hypothesised difference A-B of o(r) dB at station r the reports of both arms are cut at one common
// level and compared:
//
//	L(r) = c + max(0, -o(r))
//	z    = y - o(r) for a report y of arm A,  z = y for a report of arm B;  kept if z > L(r)
//	U(r) = ceiling - max(0, o(r)), at least L(r) + 12;  z above U(r) counts as U(r)
//	v    = mean of the kept z of an arm in a block, L(r) if there is none
//	h    = share of the kept z below U(r), 0 if there is none
//	D    = v_A - v_B, limited to +-15;  a = (h_A + h_B)/2
//	if only one arm has kept reports and |v_A - v_B| > 6:  D = +-1.2, a = 0.1
//
// If o is the truth, swapping the arms of a block changes the sign of every D of that block and
// leaves a alone; all tests rest on that (package signflip). The ceiling is the cut once more, from above: strong reports
// lag behind the signal, which would pull every difference towards 0, so nothing above the level up to
// which they are believed counts as more. Without a ceiling h is 1 for an arm with a kept report, and
// the rest is the same. A report y has to carry its dither of +-0.5 dB: without it the rounding of the
// reports to whole decibels biases the estimate by up to 0.2 dB.
//
// Level is the overall difference: the exact test of no difference, the estimate, its interval by
// inversion of the test, the second interval that speaks beyond the stations heard (two-way
// clustering over blocks and regions) and the running evidence that may be watched. Directivity is
// the dependence on azimuth, with its two gates, the fitted lobe and the sectors. Seen is what the
// reports show at no difference, block by block and station by station, for pictures; the fitted
// lobe and its region toward an azimuth are given by Directivity.Toward, and its vector with a covariance, for whoever puts
// trials together, by Directivity.Fits.
//
// # No difference needs no guards
//
// Cut and ceiling keep a share of the difference from being lost: near the decoding threshold a tenth at most, of lagging
// reports a half. The nearer o is to 0 the less there is to lose, and at 0, where both arms lose alike, the test is exact without.
// So where the error of D would stay below 0.02 dB the tests look further, down to the level at which half is decoded, and
// up without a limit (guards.go). Estimates, sectors, gates and lobes always keep to the guards. Where the test at 0 contradicts
// the estimate, it counts together with that between the guards: the greater p.
//
// # Drift
//
// Where the times of the dwells are known, D has a(b,r) * drift(b) taken off: the drift of the band between the two dwells
// of the block, from the slope between its neighbours,
//
//	drift(b) = h * sum a a' (M(b-1,r) - M(b+1,r)) * n / (n^2 + 100) / (t(b+1) - t(b-1)),  n = sum a a'
//
// with M = (v_A + v_B)/2, h the time from A to B in block b, and a, a' the station's weights in the two neighbours. M is the
// same with the arms exchanged, so drift(b) changes its sign with D, and the tests stay exact. At the ends of the trial the
// block itself takes the missing neighbour's place; the running evidence looks at the block itself and the one before only.
//
// # Two arms, one order
//
// Swapping the arms negates every difference up to the last bits of a float. Where that has to be
// exact, take the two arms always in one order (say by name), and use Negated for the other one.
//
// # What it does not do
//
// It reads no tables, draws no schedule, gives no verdict and adjusts for no family of questions. It
// does not know whether the coin was thrown: without a random order none of its p values mean
// anything. Distance is not looked at; where distance and azimuth go together the two cannot be
// told apart here.
//
// # Determinism
//
// Reports are sorted before use, every sum runs in a fixed order and no product is fused with a
// sum, so the order of the reports changes no bit of a result.
//
// Sources: Honoré, Trimmed LAD and least squares estimation of truncated and censored regression
// models with fixed effects, Econometrica 60, 1992; Rosenbaum, Observational Studies, 2002;
// Hemerik, Goeman and Finos, Robust testing in generalized linear models by sign flipping score
// contributions, JRSS B 82, 2020; Cameron, Gelbach and Miller, Robust inference with multiway
// clustering, JBES 29, 2011; Ramdas, Grünwald, Vovk and Shafer, Game-theoretic statistics and safe
// anytime-valid inference, Statistical Science 38, 2023.
package contrast
