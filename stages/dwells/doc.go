// Package dwells reads the switch log and moves a planned schedule to what really happened.
//
// Model: the schedule says which arm a dwell counts for, and nothing in the log changes that: an analysis
// by the drawn order stays exact even if the operator sat on the wrong arm. The log can do three things:
//
//   - shift clock times: start gives the real first slot of a session, pause and resume move what follows;
//   - shorten all dwells of a block alike: a switch confirmed after the dwell began takes away the slots
//     before it, and as many from every other dwell of the block;
//   - drop a whole block: by a drop with a reason that does not look at signals, by a pause inside it, by a
//     switch so late that less than half is left, or because the trial ended before. Never one dwell alone.
//
// A block is one session's block on one band. Times are shifted in this order: each session by its start,
// then by its pauses one after the other. A pause moves what begins at or after it by its own length, made
// up to whole slots, to an even number of slots where the station sends in even or odd slots, so that a
// dwell keeps its share of slots to send in.
//
// Which event means which session: the one it names, else the one that is nearest in time after the
// starts. A clock reading corrects the times of its session's events, each by the reading nearest to it.
//
// For the question whether losses depend on the arm, a lost block counts for the arm that was connected
// when the reason occurred: at a drop or a pause the arm of the dwell that had begun last, at a late switch
// the arm that came late. A drop may name that arm itself.
//
// The package reads no reports, and doesn't judge whether a loss matters: it gives the numbers.
//
// Sources: Fisher, The Design of Experiments, 1935, section 21 (the order drawn decides the test); Clopper
// and Pearson, Biometrika 26, 1934 (binomial tails).
package dwells
