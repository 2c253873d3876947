// Package world makes an invented sky and invented listeners: what would be reported of a trial whose truth is known.
//
// Model, per slot, station and band, all in dB:
//
//	sent      = path + arm's gain toward the station + arm's power            - noise at the station
//	received  = path + arm's gain toward the station + power of the station   - own noise
//	path      = median + distance window + opening(hour, direction) + trend + day + drift + slow + fast
//
// Drift and slow are first-order Gauss-Markov processes that both directions share; a sector of 30 degrees has part of
// the drift in common. Fast is Rayleigh fading averaged over a transmission, independent from slot to slot. A slot
// is decoded with a logistic probability, then reported with an error, compressed at the strong end and rounded to a
// whole dB; then the network passes on one report of each interval, or all. Stations come and go, send in their own
// slots and hear nothing meanwhile. They live in clusters on land. Each number of the model is a field of Params with its
// source; the truth about the arms is in Band.Arms and is stated, not calculated from wires.
//
// What it leaves out: heights and take-off angles, layers and the sun (an opening is a curve over the hour), correlation
// of the fast part between neighbouring slots (wrong for spreads of 0.02 Hz) and between stations of one place,
// interference between stations, false decodes, mistaken calls and places, clocks.
//
// It imports nothing of the analysis, and its geometry is spherical and its own, so that an error in the geodesy of the
// analysis cannot hide here. Random numbers: PCG (O'Neill 2014, as in math/rand/v2), one stream for each named part of
// the model, band and station, seeded by the seed and the FNV-1a hash of the name: a station's numbers do
// not depend on how many others there are. Only the background does.
package world
