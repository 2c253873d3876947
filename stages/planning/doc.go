// Package planning tells what a planned trial can find: how many blocks each claim needs, how long they take, what the
// chosen arms can't tell apart, and what is to be minded in the field.
//
// # Power
//
// With sigma the standard deviation of one block's difference, dB, alpha the level after the correction for m questions
// (0.05/m), L the smallest difference that matters and B the number of blocks,
//
//	different             power = Phi(L/sigma sqrt(B - z^2/2) - z),     z = z(1 - alpha/2)
//	practically the same  power = 2 Phi(L/sigma sqrt(B - 2) - 1.96) - 1   if there is no difference at all; of a
//	                      level 0.95 of it, since one trial in 20 looks as if it depended on azimuth
//	directivity           power = P(chi2(df, lambda) > c),  lambda = (B - 4) L^2/sigma_phi^2
//
// with c the upper alpha point of the central chi-square of df degrees of freedom: two for one harmonic, four for both.
// No plan asks for fewer than eight blocks, nor for fewer than a sign-flip test needs to reach alpha: its smallest p is
// 2/2^B. The correction is Holm's, and at its first step; a claim beside others that are found needs fewer blocks.
//
// These are formulas of large numbers. Below 12 blocks, below 30 stations and for every directivity, whose second gate no
// formula knows, the promise comes from simulated trials through the real stages (package trials), or, where a former run
// is at hand and the plan is short, from drawing that run's blocks again.
//
// A sigma is assumed, or taken from a former run at its upper 80 % limit: sigma sqrt((n-1)/chi2(0.2, n-1)) for n blocks.
//
// Sources: Fisher, The Design of Experiments, 1935; Schuirmann, Journal of Pharmacokinetics and Biopharmaceutics 15, 1987,
// for the two one-sided tests; Holm, Scandinavian Journal of Statistics 6, 1979; Patnaik, Biometrika 36, 1949, for the
// non-central chi-square and its use for power. The values assumed for sigma come from simulated trials.
//
// The package forecasts no propagation, and says of nothing that it is safe or allowed.
package planning
