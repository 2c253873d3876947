// Package signflip gives exact and Monte-Carlo p values of sign-flip tests over blocks.
//
// Model: a trial has B blocks, and in each a fair coin decided which arm came first. If the arms
// do not differ, turning the coin of block b over would have changed the sign of that block's
// contribution and nothing else, so every vector s of B signs gives a statistic that was as likely
// as the observed one. The p value is the share of the vectors whose statistic is at least the
// observed one, the observed one (all signs +1, the "identity") included.
//
// A statistic T_s counts as at least the observed T if T_s >= T - 1e-9*|T|, so that equal sums
// which differ in the last bits are ties.
//
// # The vectors, exactly
//
// A Plan with all vectors holds 2^B of them; vector number v has sign -1 for block b if bit b of v
// is set (bit 0 is the lowest), so vector 0 is the identity.
//
// A Plan with random vectors holds the identity and n more, numbered f = 0..n-1. Vector f lies in
// chunk f/4096 (whole division). Chunk c is drawn from one stream of math/rand/v2:
//
//	rand.NewPCG(seed, F + c)     F = 64-bit FNV-1a of the five bytes "flips" = Stream
//
// (the sum modulo 2^64). Within a chunk the vectors are drawn one after another, each taking
// ceil(B/64) values of Uint64; bit b%64 of value b/64 set means sign -1 for block b. Bits beyond
// the last block are drawn and not used. Because a chunk needs nothing of the chunks before it,
// the counts are the same for any number of workers.
//
// The package knows nothing of radio, of estimates or of verdicts.
//
// Sources: Fisher, The Design of Experiments, 1935, section 21; Hemerik and Goeman, Exact testing
// with random permutations, TEST 27, 2018 (identity included); O'Neill, PCG, HMC-CS-2014-0905.
package signflip
