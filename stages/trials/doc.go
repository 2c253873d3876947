// Package trials carries an experiment out many times in the invented world and counts what the verdicts were worth: how
// often each came, false alarms, coverage of every interval, bias, power.
//
// Model. Each trial is the experiment with an order of arms of its own, a world of its own and sign flips of its own, all
// from one seed and the trial's number. The placed reports are handed to the real stages (dwells, stations, reduce,
// judge) as tables in memory; reading files, the step before, is left out. What comes out is held against what the
// sentence claims:
//
//   - where one difference is true of all receivers: against that;
//   - where receivers or regions differ for themselves (world.Params.ReceiverSD, RegionSD): a level with reach beyond the
//     receivers heard, and its second interval, against the mean of the population; the first interval against the mean
//     over the receivers heard, which is for information, since no one difference is true then;
//   - where the arms differ by a lobe: a level against the mean over the receivers heard, also for information; the lobe
//     against its amplitude and direction; front to back against the mean over the receivers heard in either sector.
//
// The mean over the receivers heard weighs each by the number of its reports; the judge weighs a little otherwise, so
// that coverage of it is approximate.
//
// What it leaves out: claims about the match (there are no sweeps), mishaps, schedules from a file (their order can't be
// drawn anew), the truth in percentage points of heard_by unless the arms are the same, and the truth of reciprocity
// and repeat, of which only the verdicts are counted.
//
// Shares come with their standard error, and with the bounds within which 99.9 % of such counts fall if the nominal
// share is true (binomial distribution).
package trials
