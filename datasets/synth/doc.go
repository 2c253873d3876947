// Package synth makes the reports of a trial whose truth is known: stations clustered on land, fading,
// a soft decoding threshold, receivers that pass on one report in a few minutes, and an operator who starts
// late and forgets a line in the log.
//
// Model, per transmitted slot and receiver, all in dB:
//
//	snr = path median(distance) + receiver site + opening(time of day) + drift + slow + fast + arm
//
// Drift is a first-order Gauss-Markov process, half of whose variance is shared by the receivers of one
// 30-degree sector; slow is one such process for each receiver; fast is independent from slot to slot. A slot
// is decoded with a logistic probability, reported with an error and rounded to a whole dB; then each receiver
// passes on the first decode of each of its reporting intervals. The arm adds a level and, if wanted, a
// lobe: the first arm's advantage over the second, the same at every receiver except for the lobe.
//
// What it leaves out: antennas (no pattern or height enters; the difference between the arms is stated, not
// calculated), the ionosphere (no layers, no sun), compression of strong reports, power errors, differences
// between receivers in how they see the arms.
//
// The geometry is spherical and its own, so that an error in the geodesy of the analysis cannot hide here.
// Random numbers: PCG (O'Neill 2014, as in math/rand/v2), one stream for each named part of the model, seeded
// by the seed and the FNV-1a hash of the name; a station's numbers do not depend on the other stations.
package synth
