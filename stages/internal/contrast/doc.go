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
//	v    = mean of the kept z of an arm in a block, L(r) if there is none;  h = 1 if there is one
//	D    = v_A - v_B, limited to +-15;  a = (h_A + h_B)/2
//	if only one arm has kept reports and |v_A - v_B| > 6:  D = +-1.2, a = 0.1
//
// If o is the truth, swapping the arms of a block changes the sign of every D of that block and
// leaves a alone; all tests rest on that (package signflip). A report y has to carry its dither of
// +-0.5 dB: without it the rounding of the reports to whole decibels biases the estimate by up to
// 0.2 dB.
//
// Level is the overall difference: the exact test of no difference, the estimate, its interval by
// inversion of the test, the second interval that speaks beyond the stations heard (two-way
// clustering over blocks and regions) and the running evidence that may be watched. Directivity is
// the dependence on azimuth, with its two gates, the fitted lobe and the sectors. Seen is what the
// reports show at no difference, block by block and station by station, for pictures; the fitted
// lobe and its region toward an azimuth are given by Directivity.Toward.
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
