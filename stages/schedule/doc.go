// Package schedule draws the order of the arms, lays the dwells on the clock, and reads, writes, checks
// and sums up the result. It also says which slots a dwell owns.
//
// Model: a trial has sessions, a session has blocks on each band, and in a block every arm has the same
// number of dwells. The order in each block is a uniformly random permutation of the arms, independent
// of every other block, and not balanced on purpose: a test that flips signs rests on independent coins.
// What is fixed beforehand is the order and the lengths; package dwells moves the clock times to what
// really happened.
//
// # The draw, to be redone by hand
//
// The generator is PCG-DXSM with 128 bits of state, as in Go's math/rand/v2. All sums and products are
// modulo 2^128 for the state and modulo 2^64 for the output:
//
//	state  = Seed * 2^64 + 17277971518444509036     (FNV-1a, 64 bits, of the eight bytes "schedule")
//
//	for every output u:
//	    state = state * 47026247687942121848144207491837523525 + 117397592171526113268558934119004209487
//	    hi    = floor(state / 2^64)
//	    lo    = state mod 2^64
//	    hi    = hi xor floor(hi / 2^32)
//	    hi    = hi * 15750249268501108917
//	    hi    = hi xor floor(hi / 2^48)
//	    u     = hi * (lo or 1)
//
// (47026247687942121848144207491837523525 = 2549297995355413924 * 2^64 + 4865540595714422341,
// 117397592171526113268558934119004209487 = 6364136223846793005 * 2^64 + 1442695040888963407,
// 15750249268501108917 = da942042e4dd58b5 in hexadecimal.)
//
// One order of k arms starts from the arms as the experiment file lists them, numbered from 0, and for
// i = k-1 down to 1 swaps number i with number j, where j is uniform in 0..i:
//
//	take an output u; while u * (i+1) mod 2^64 < 2^64 mod (i+1), take the next one
//	j = floor(u * (i+1) / 2^64)
//
// So for two arms j is the top bit of one output: 1 = the arms stay in the order of the file, 0 = they
// are swapped.
//
// Orders are drawn session by session as listed, in each session block by block. With "bands within arm"
// one order serves all bands of the block (the bands share one coin); with "arms within band" one order
// is drawn for each band, bands as listed.
//
// # The clock
//
// A dwell starts on the edge of a slot, counted from 00:00 UTC; a time between two edges moves up to the
// later one. After a dwell comes the time for what changes: ArmChangeMs if the position or the block
// changes, BandChangeMs if the band changes, the longer of the two if both do, nothing if neither does.
// A position counts as a change of arm even where chance keeps the same arm, so that no clock time
// depends on the draw. The two middle positions of a mirrored block hold the same arm whatever was
// drawn, and count as no change of arm. Between blocks both changes are allowed for; a break takes the
// place of a change that is shorter.
//
// Slots must divide the day into equal parts, so that edges are the same on every day. UTC has neither
// summer time nor, in Go's clock, leap seconds.
//
// The package does not say how many blocks are needed, and knows nothing of propagation.
//
// Sources: O'Neill, PCG: A Family of Simple Fast Space-Efficient Statistically Good Algorithms for Random
// Number Generation, HMC-CS-2014-0905, 2014, and the documentation of Go's math/rand/v2 (type PCG) for
// the output function; Fowler, Noll, Vo and Eastlake, The FNV Non-Cryptographic Hash Algorithm, RFC 9923;
// Durstenfeld, Algorithm 235: Random permutation, Communications of the ACM 7, 1964; Lemire, Fast Random
// Integer Generation in an Interval, ACM Transactions on Modeling and Computer Simulation 29, 2019;
// Fisher, The Design of Experiments, 1935, on why the order is drawn.
package schedule
