// Package rehearsal carries out an experiment in the invented world of package world and writes what an operator would
// then have: reports, sweeps and switch log, as ordinary files in the forms that the experiment itself declares. The
// truth about the arms is stated beforehand, so that the verdicts can be held against it.
//
// Model. Who hears what is the business of package world. Here the reports are given to files: what receivers
// passed on to the [[spots]] tables of role "trial" that collect such reports (one file a session, where the pattern
// has a `*`), contacts to the operator's own log (two stations in a dwell that hear each other, whatever they hear), reports
// of other transmitters to the tables of role "background". Of several patterns of a table the first is used. The
// arms' declared powers are real: they add to what is sent.
//
// Sweeps are those of an invented series resonance on each band, near its middle, seen through the declared feedline
// when they are made at the radio; the same resonance whatever the arm's wire is. With mishaps the sessions begin late, there is
// a pause, a block is lost, an arm is connected late, changes are not written down, and the files hold rows of no use.
// Without a [log] table nothing of this can be told, so that only the rows of no use come.
//
// What it leaves out: patterns are stated and not calculated; no power meter errs; nobody connects the wrong arm.
//
// Nothing here is shared with the analysis: places, bands, line and forms are worked out on their own, so that an error
// there can't hide here. Random numbers: PCG (O'Neill 2014, as in math/rand/v2), one stream for each named part, seeded by the
// seed and the FNV-1a hash of the name.
//
// Forms: ADIF 3.1.5 (ADI); RFC 4180; Touchstone File Format Specification 1.1.
package rehearsal
