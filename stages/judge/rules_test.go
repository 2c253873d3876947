package judge_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/stages/internal/account"
	"fairlobe/stages/judge"
)

// ruleCase is one world and what must be found in it. The first entry is looked at unless another is named.
type ruleCase struct {
	rule    string // the rule of the design that it stands for
	name    string
	world   *world
	entry   int
	verdict string
	code    string
	reach   string   // "" for none
	says    []string // parts of the sentence
	warns   []string // all warnings, in order; nil: not looked at
}

// questions adds questions to the family that are refused.
func (w *world) questions(n int) *world {
	for i := range n {
		c := level()
		c.Kind, c.Name = "reciprocity", fmt.Sprintf("question %d", i)
		w.claims = append(w.claims, c)
	}
	return w
}

func with(w *world, change func(*world)) *world {
	change(w)
	return w
}

func asking(w *world, claims ...judge.Claim) *world {
	w.claims = claims
	return w
}

func kind(name string, step float64) judge.Claim {
	c := level()
	c.Kind, c.Name, c.StepDB = name, name, &step
	return c
}

const (
	here   = "these receivers"
	beyond = "beyond"
)

func rule1() []ruleCase {
	const rule = "1: other evidence than the randomised kinds is described, not tested; randomised needs a seal made before the data"
	file := func(random bool, regular string) *world {
		return with(plain().differ(3), func(w *world) {
			w.params.Seal, w.params.SealedMs, w.params.OrderFile, w.params.OrderRandom = judge.SealNone, 0, true, random
			w.trial.PlainlyRegular = regular
		})
	}
	sealed := func(state judge.SealState, ms int64) *world {
		return with(plain().differ(3), func(w *world) { w.params.Seal, w.params.SealedMs = state, ms })
	}
	return []ruleCase{
		{rule: rule, name: "sealed", world: plain().differ(3), verdict: "different", code: "different", reach: beyond, warns: []string{}},
		{rule: rule, name: "not sealed", world: sealed(judge.SealNone, 0), verdict: "different", code: "different", reach: beyond, warns: []string{"not_sealed"}},
		{rule: rule, name: "sealed at the first dwell", world: sealed(judge.SealSame, began.UnixMilli()), verdict: "different", code: "different", reach: beyond, warns: []string{"sealed_late"}},
		{rule: rule, name: "sealed just before", world: sealed(judge.SealSame, began.UnixMilli()-1), verdict: "different", code: "different", reach: beyond, warns: []string{}},
		{rule: rule, name: "a claim added since", world: with(sealed(judge.SealChanged, sealedMs), func(w *world) { w.claims[0].Added = true }), verdict: "different", code: "different", reach: beyond, warns: []string{"added_after_seal", "seal_differs"}},
		{rule: rule, name: "changed since", world: sealed(judge.SealChanged, sealedMs), verdict: "different", code: "different", reach: beyond, warns: []string{"seal_differs"}},
		{rule: rule, name: "another order than sealed", world: sealed(judge.SealOrder, sealedMs), verdict: "refused", code: "order_not_sealed", says: []string{"described, not tested", "put the seed, the arms and the schedule back"}},
		{rule: rule, name: "order from a file, random", world: file(true, ""), verdict: "different", code: "different", reach: beyond, warns: []string{"order_declared"}},
		{rule: rule, name: "order from a file, plainly regular", world: file(true, "each block begins with low"), verdict: "refused", code: "order_regular", says: []string{"each block begins with low"}},
		{rule: rule, name: "order from a file, not random", world: file(false, ""), verdict: "refused", code: "order_not_random", says: []string{"the order was not drawn at random: described, not tested; draw the order at random"}},
		{rule: rule, name: "order from a file, sealed, and another", world: with(file(true, ""), func(w *world) { w.params.Seal = judge.SealOrder }), verdict: "refused", code: "order_not_sealed"},
		{rule: rule, name: "lobe, not random", world: asking(file(false, "").leans(3), lobe("one-sided")), verdict: "refused", code: "order_not_random"},
	}
}

func rule2() []ruleCase {
	const rule = "2: a trial of a fixed number of blocks is judged when it is over; an end before the last block opens it for good"
	whole := func() *world { return with(plain(), func(w *world) { w.blocks = 12 }) }
	at := func(blocks int) *world {
		return with(whole().differ(3), func(w *world) { w.last = began.Add(time.Duration(blocks)*20*time.Minute - time.Second) })
	}
	return []ruleCase{
		{rule: rule, name: "9 of 12", world: at(9), verdict: "undecided", code: "unfinished", says: []string{"9 of 12 blocks are in"}},
		{rule: rule, name: "the last dwell is not reached", world: with(whole(), func(w *world) { w.last = began.Add(11*20*time.Minute + 9*time.Minute - time.Second) }), verdict: "undecided", code: "unfinished", says: []string{"11 of 12"}},
		{rule: rule, name: "the last dwell is reached", world: with(whole(), func(w *world) { w.last = began.Add(11*20*time.Minute + 9*time.Minute) }), verdict: "practically the same", code: "practically_the_same", reach: beyond},
		{rule: rule, name: "the log says end", world: with(at(9), func(w *world) { w.trial.Ended = true }), verdict: "different", code: "different", reach: beyond, warns: []string{}},
		{rule: rule, name: "ended early", world: with(at(9), func(w *world) {
			w.trial.Ended, w.trial.EndedEarly = true, true
			for b := 9; b < 12; b++ {
				w.lost[b] = "not run: ended before"
			}
		}), verdict: "different", code: "different", reach: here, warns: []string{"ended_early"}},
		{rule: rule, name: "open", world: with(at(9), func(w *world) { w.params.Stopping = "open" }), verdict: "different", code: "different", reach: here, warns: []string{}},
		{rule: rule, name: "open, the same", world: with(whole(), func(w *world) { w.params.Stopping = "open" }), verdict: "practically the same", code: "practically_the_same", reach: here, warns: []string{}},
		{rule: rule, name: "lobe, 9 of 12", world: asking(at(9).leans(3), lobe("one-sided")), verdict: "undecided", code: "unfinished"},
		{rule: rule, name: "lobe, open", world: with(asking(at(9).leans(3), lobe("one-sided")), func(w *world) { w.params.Stopping = "open" }), verdict: "different", code: "different", reach: here, says: []string{"high gains most against low toward"}},
		{rule: rule, name: "no lobe, open: none of a size is ruled out", world: with(asking(at(9), lobe("one-sided")), func(w *world) { w.params.Stopping = "open" }), verdict: "undecided", code: "undecided", reach: here},
	}
}

func rule3() []ruleCase {
	const rule = "3: level: inside +-L practically the same; else p_adjusted <= 0.05 different; else undecided; never the same where the direction matters"
	rough := func(db, sd float64) *world { return with(plain().differ(db), func(w *world) { w.blockSD = sd }) }
	open := func(w *world) { w.params.Stopping = "open" }
	sessions := func(first, second float64) *world {
		return with(plain(), func(w *world) {
			w.sessions, w.blocks = 2, 6
			w.diffDB = func(at place) float64 { return []float64{first, second}[at.session-1] }
		})
	}
	loud := func(w *world) { w.levelDB = func(place) float64 { return 14 } }
	return []ruleCase{
		{rule: rule, name: "no difference", world: plain(), verdict: "practically the same", code: "practically_the_same", reach: beyond, says: []string{"any difference is smaller than 1.5 dB"}},
		{rule: rule, name: "a small one is there", world: plain().differ(0.8), verdict: "practically the same", code: "practically_the_same", reach: beyond, says: []string{"in favour of high", "you said that less than 1.5 dB does not matter"}},
		{rule: rule, name: "a small one the other way", world: plain().differ(-0.8), verdict: "practically the same", code: "practically_the_same", reach: beyond, says: []string{"a difference of 0.", "in favour of low"}},
		{rule: rule, name: "more than L", world: plain().differ(3), verdict: "different", code: "different", reach: beyond, says: []string{"high is 3.10 dB stronger than low (2.84 to 3.37 dB)", "by more than the 1.5 dB that matter"}},
		{rule: rule, name: "more than L the other way", world: plain().differ(-3), verdict: "different", code: "different", reach: beyond, says: []string{"low is 2.90 dB stronger than high (2.63 to 3.16 dB)", "by more than the 1.5 dB that matter"}},
		{rule: rule, name: "size not settled", world: plain().differ(1.6), verdict: "different", code: "different", reach: beyond, says: []string{"the size is not settled"}},
		{rule: rule, name: "would pass alone", world: with(rough(1.2, 1.5), func(w *world) { w.blocks = 12 }).questions(30), verdict: "undecided", code: "would_pass_alone", reach: here, says: []string{"not among the 31 questions", "a new trial of about"}},
		{rule: rule, name: "undecided", world: rough(0, 5), verdict: "undecided", code: "undecided", reach: here, says: []string{"no difference, and also differences that matter", "a new trial of about"}},
		{rule: rule, name: "undecided, open", world: with(rough(0, 5), open), verdict: "undecided", code: "undecided", reach: here, says: []string{"blocks in all would find"}},
		{rule: rule, name: "one arm never heard", world: with(plain(), func(w *world) { w.silent = func(_ place, arm string, _ int) bool { return arm == "low" } }), verdict: "different", code: "different", reach: here, says: []string{"dB or more)"}},
		{rule: rule, name: "depends on the direction", world: plain().leans(2), verdict: "undecided", code: "depends_on_direction", reach: here},
		{rule: rule, name: "different and depends", world: plain().differ(4).leans(2), verdict: "different", code: "different", reach: beyond, says: []string{"on average over the 24 receivers heard, and by their spread also beyond them, high is"}},
		{rule: rule, name: "depends on two opposite directions, as claimed", entry: 1, world: asking(with(plain(), func(w *world) {
			w.diffDB = func(at place) float64 { return 2 * math.Cos(2*at.deg*math.Pi/180) }
		}), lobe("two-sided"), level()), verdict: "undecided", code: "depends_on_direction", reach: here},
		{rule: rule, name: "depends in the second of two shapes that are claimed", entry: 2, world: asking(with(plain(), func(w *world) {
			w.diffDB = func(at place) float64 { return 2 * math.Cos(2*at.deg*math.Pi/180) }
		}), lobe("one-sided"), lobe("two-sided"), level()), verdict: "undecided", code: "depends_on_direction", reach: here},
		{rule: rule, name: "depends, in a claimed shape that can't be tested", entry: 1, world: asking(plain().leans(2), lobe("any"), level()), verdict: "undecided", code: "depends_on_direction", reach: here},
		{rule: rule, name: "depends on the direction on another claim's band only", entry: 0, world: with(plain(), func(w *world) {
			w.bands = []string{"20m", "10m"}
			w.claims[0].Bands = w.bands
			w.diffDB = func(at place) float64 { return map[string]float64{"10m": 2}[at.band] * math.Sin(at.deg*math.Pi/180) }
		}), verdict: "practically the same", code: "practically_the_same", reach: beyond},
		{rule: rule, name: "sessions contradict each other", world: sessions(0.7, -0.7), verdict: "undecided", code: "sessions_differ", reach: here, warns: []string{"sessions_differ"}},
		{rule: rule, name: "sessions agree", world: sessions(0.3, 0.3), verdict: "practically the same", code: "practically_the_same", reach: beyond, warns: []string{}},
		{rule: rule, name: "received", world: with(plain().differ(3), func(w *world) { w.direction, w.claims[0].Direction = "received", "received" }), verdict: "different", code: "different", reach: beyond, says: []string{"at the 24 stations heard"}},
		{rule: rule, name: "near stations only", world: with(plain(), func(w *world) {
			w.claims[0].WithinKm = &[2]float64{0, 600}
			w.diffDB = func(at place) float64 { return at.km / 500 }
		}), verdict: "practically the same", code: "practically_the_same", reach: beyond, says: []string{"at the 12 receivers heard up to 600 km away"}},
		{rule: rule, name: "no constant difference", world: with(plain().differ(1.3), func(w *world) { w.blocks, w.noiseDB, w.blockSD = 16, 0, 0 }).questions(600), verdict: "undecided", code: "no_one_difference", reach: here},
		{rule: "9: over 20 % strong reports: never practically the same", name: "compressed", world: with(plain(), loud), verdict: "undecided", code: "compressed", reach: here, warns: []string{"compressed", "compressed"}},
		{rule: "9: over 20 % strong reports", name: "compressed and different", world: with(plain().differ(3), loud), verdict: "different", code: "different", reach: beyond, warns: []string{"compressed", "compressed"}},
		{rule: "statistics 9: over 25 % of the blocks lost", name: "losses", world: with(plain().differ(3), func(w *world) { w.trial.Losses = []account.Loss{{Band: "20m", Share: 0.3, P: 1}} }), verdict: "undecided", code: "losses", reach: here, says: []string{"30 % of the blocks were lost: "}, warns: []string{"losses"}},
		{rule: "statistics 9: lost blocks unequal between the arms", name: "unequal losses", world: with(plain().differ(3), func(w *world) { w.trial.Losses = []account.Loss{{Band: "20m", Share: 0.2, P: 0.03}} }), verdict: "undecided", code: "losses", reach: here, says: []string{"more blocks were lost with one arm than with the other (p = 0.03)"}},
		{rule: "statistics 9: losses on another band", name: "losses elsewhere", world: with(plain(), func(w *world) { w.trial.Losses = []account.Loss{{Band: "10m", Share: 0.9, P: 0.001}} }), verdict: "practically the same", code: "practically_the_same", reach: beyond, warns: []string{}},
	}
}

func rule5() []ruleCase {
	const rule = "5: reach beyond needs the second test and 5 effective regions; under 3 stations refused; 3 to 7, or under three sectors: these receivers"
	n := func(n int, db float64) *world {
		return with(plain().differ(db), func(w *world) { w.stations = around(n) })
	}
	regions := func(n int) *world {
		return with(plain().differ(3), func(w *world) {
			for i := range w.stations {
				w.stations[i].region = fmt.Sprint(i % n)
			}
		})
	}
	varied := func(db, amount float64) *world { // the difference varies between regions
		return with(plain(), func(w *world) {
			w.params.SmallestDB = 0.5
			w.diffDB = func(at place) float64 { return db + amount*math.Sin(float64(len(at.region))+17*math.Floor(at.deg/30)) }
		})
	}
	return []ruleCase{
		{rule: rule, name: "2 stations", world: n(2, 3), verdict: "refused", code: "too_few_stations"},
		{rule: rule, name: "3 stations", world: n(3, 3), verdict: "different", code: "different", reach: here, warns: []string{"few_stations", "one_station"}},
		{rule: rule, name: "7 stations", world: n(7, 3), verdict: "different", code: "different", reach: here, warns: []string{"few_stations"}},
		{rule: rule, name: "8 stations", world: n(8, 3), verdict: "different", code: "different", reach: beyond, warns: []string{}},
		{rule: rule, name: "7 stations, the same", world: n(7, 0), verdict: "practically the same", code: "practically_the_same", reach: here, says: []string{"at the 7 receivers heard"}},
		{rule: rule, name: "two sectors", world: with(plain().differ(3), func(w *world) { w.stations = inSector(20, 0, 89) }), verdict: "different", code: "different", reach: here, warns: []string{"few_sectors"}},
		{rule: rule, name: "three sectors", world: with(plain().differ(3), func(w *world) { w.stations = inSector(20, 0, 134) }), verdict: "different", code: "different", reach: beyond, warns: []string{}},
		{rule: rule, name: "4 regions", world: regions(4), verdict: "different", code: "different", reach: here},
		{rule: rule, name: "6 regions", world: regions(6), verdict: "different", code: "different", reach: beyond},
		{rule: rule, name: "regions differ too much", world: varied(1.6, 6), verdict: "different", code: "different", reach: here, says: []string{"receivers heard"}},
		{rule: "9: one region over 40 %", name: "one region", world: with(plain(), func(w *world) {
			for i := range w.stations[:16] {
				w.stations[i].region = "000, class 0"
			}
		}), verdict: "practically the same", code: "practically_the_same", reach: here, warns: []string{"one_region"}},
		{rule: "statistics 9: too few blocks", name: "4 blocks", world: with(plain().differ(3), func(w *world) { w.blocks = 4 }), verdict: "refused", code: "too_few_blocks"},
		{rule: "statistics 9: too few reports", name: "hardly a report", world: with(plain(), func(w *world) {
			w.stations = around(3)
			w.silent = func(at place, _ string, _ int) bool { return at.block > 2 }
		}), verdict: "refused", code: "too_few_reports"},
		{rule: "4: the own square is in no verdict", name: "own square", world: with(plain(), func(w *world) {
			w.stations[0].region = "own square"
			w.diffDB = func(at place) float64 {
				if at.station == 0 {
					return 20
				}
				return 0
			}
		}), verdict: "practically the same", code: "practically_the_same", reach: beyond, says: []string{"23 receivers"}},
	}
}

func rule6() []ruleCase {
	const rule = "6: null holds if practically the same; known_step if the interval contains the step and excludes 0"
	rough := func(w *world) *world { return with(w, func(w *world) { w.blockSD = 6 }) }
	lossy := func(w *world) *world {
		return with(w, func(w *world) { w.trial.Losses = []account.Loss{{Band: "20m", Share: 0.3, P: 1}} })
	}
	null, step := kind("null", 0), kind("known_step", 3)
	return []ruleCase{
		{rule: rule, name: "null holds", world: asking(plain(), null), verdict: "holds", code: "holds", reach: here},
		{rule: rule, name: "null fails", world: asking(plain().differ(3), null), verdict: "fails", code: "fails", reach: here},
		{rule: rule, name: "null undecided", world: asking(rough(plain()), null), verdict: "undecided", code: "undecided", reach: here},
		{rule: rule, name: "null refused", world: asking(with(plain(), func(w *world) { w.stations = around(2) }), null), verdict: "refused", code: "too_few_stations"},
		{rule: rule, name: "null depends on the direction", world: asking(plain().leans(2), null), verdict: "undecided", code: "depends_on_direction", reach: here},
		{rule: rule, name: "null with losses", world: asking(lossy(plain()), null), verdict: "undecided", code: "losses", reach: here},
		{rule: rule, name: "step holds", world: asking(plain().differ(3), step), verdict: "holds", code: "holds", reach: here},
		{rule: rule, name: "step does not show", world: asking(plain(), step), verdict: "fails", code: "fails", reach: here},
		{rule: rule, name: "step the wrong way round", world: asking(plain().differ(-3), step), verdict: "fails", code: "fails", reach: here},
		{rule: rule, name: "step undecided", world: asking(rough(plain().differ(2)), step), verdict: "undecided", code: "undecided", reach: here},
		{rule: rule, name: "step refused", world: asking(with(plain(), func(w *world) { w.blocks = 4 }), step), verdict: "refused", code: "too_few_blocks"},
		{rule: rule, name: "step with losses", world: asking(lossy(plain().differ(3)), step), verdict: "undecided", code: "losses", reach: here},
		{rule: rule, name: "step, no constant difference", world: asking(with(plain().differ(1.3), func(w *world) { w.noiseDB, w.blockSD = 0, 0 }), step), verdict: "undecided", code: "no_one_difference", reach: here},
		{rule: rule, name: "a failed null warns on its band", entry: 1, world: asking(plain().differ(3), null, level()), verdict: "different", code: "different", reach: beyond, warns: []string{"trial_test_failed"}},
		{rule: rule, name: "a null that holds does not warn", entry: 1, world: asking(plain(), null, level()), verdict: "practically the same", code: "practically_the_same", reach: beyond, warns: []string{}},
		{rule: "6: repeat is undecided below 3 erections", name: "one erection", world: asking(plain(), again("high", "low")), verdict: "undecided", code: "few_erections", reach: here},
		{rule: "commands: no data yet", name: "no reports", world: with(plain(), func(w *world) { w.intake.Background = 1 }), verdict: "refused", code: "no_reports", says: []string{"no reports yet"}},
		{rule: "10: rows that nothing can be made of", name: "all quarantined", world: rows(40, 40, true), verdict: "refused", code: "no_usable_rows", says: []string{"none of the 40 rows could be used: see tables/quarantine and where the rows went"}},
		{rule: "10: rows that nothing can be made of", name: "all quarantined, under way", world: rows(40, 40, false), verdict: "refused", code: "no_usable_rows", says: []string{"could be used"}},
		{rule: "10: rows that nothing can be made of", name: "none usable, over", world: rows(40, 3, true), verdict: "refused", code: "no_usable_rows", says: []string{"could be used"}},
		{rule: "10: rows that nothing can be made of", name: "none usable, under way", world: rows(40, 3, false), verdict: "refused", code: "no_usable_rows", says: []string{"none of the 40 rows read is a usable report of the trial yet"}},
		{rule: "10: rows that nothing can be made of", name: "a match does not rest on them", world: asking(rows(40, 40, true), matchClaim("low")), verdict: "refused", code: "no_readings"},
	}
}

// rows is a trial, over or under way, of whose rows none is usable and some are quarantined.
func rows(read, quarantined int, over bool) *world {
	return with(plain(), func(w *world) {
		w.intake = account.Intake{Read: read, Quarantined: quarantined, OutOfScope: read - quarantined}
		w.silent = func(place, string, int) bool { return true }
		if !over {
			w.last = began
		}
	})
}

func rule9() []ruleCase {
	const rule = "9: warnings have codes and triggers"
	fromLog := with(plain(), func(w *world) {
		for _, code := range []string{"after_end", "clock", "drop_reason", "late_switch", "no_dwell", "no_log", "pause_order", "radio_clock", "start_twice", "unconfirmed", "wrong_arm"} {
			w.trial.Warnings = append(w.trial.Warnings, account.Warning{Code: code, Text: "from the log"})
		}
		w.trial.Warnings = append(w.trial.Warnings, account.Warning{Code: "late_switch", Text: "of this band", Band: "20m"}, account.Warning{Code: "late_switch", Text: "of another band", Band: "10m"})
	})
	same := ruleCase{rule: rule, verdict: "practically the same", code: "practically_the_same", reach: beyond}
	of := func(name string, change func(*world), warns ...string) ruleCase {
		c := same
		c.name, c.world, c.warns = name, with(plain(), change), warns
		return c
	}
	fromTheLog := same
	fromTheLog.name, fromTheLog.world = "from the log, on their band", fromLog
	fromTheLog.warns = []string{"after_end", "clock", "drop_reason", "late_switch", "late_switch", "no_dwell", "no_log", "pause_order", "radio_clock", "start_twice", "unconfirmed", "wrong_arm"}
	return []ruleCase{
		fromTheLog,
		of("shared coin", func(w *world) { w.params.SharedCoin = true }, "shared_coin"),
		of("one erection", func(w *world) { w.trial.OneErection = true }, "one_erection"),
		of("passed on every 5 minutes", func(w *world) { w.params.SpotIntervalMs = 300_000 }, "thinned"),
		of("passed on every two slots", func(w *world) { w.params.SpotIntervalMs = 30_000 }),
		of("seen to come every minute", func(w *world) { w.everySlots = 2 }, "thinned"),
		of("a dwell shorter than the gap", func(w *world) {
			w.silent = func(at place, arm string, slot int) bool {
				return slot != 1 || (arm == "low") != ((at.block+at.station)%2 == 0)
			}
			w.params.SmallestDB = 8
		}, "short_dwell"),
	}
}

func TestRules(t *testing.T) {
	reached := map[judge.Code]bool{}
	verdicts := map[string]bool{}
	for i, c := range allCases() {
		if testing.Short() && i%4 != 0 {
			continue // the race detector looks at the code, not at the rules
		}
		t.Run(c.rule[:strings.Index(c.rule, ":")]+"/"+c.name, func(t *testing.T) {
			all := c.world.judged(t)
			for _, e := range all {
				reached[judge.Code{Code: e.ReasonCode, Of: "reason"}] = true
				verdicts[e.Kind+" "+e.Verdict] = true
				for _, w := range e.Warnings {
					reached[judge.Code{Code: w.Code, Of: "warning"}] = true
				}
				sentence(t, e.Reason)
			}
			e := all[c.entry]
			require.Equal(t, [2]string{c.verdict, c.code}, [2]string{e.Verdict, e.ReasonCode}, "%s\n%s", c.rule, e.detail)
			if c.reach == "" {
				require.Nil(t, e.Reach)
			} else {
				require.Equal(t, c.reach, *e.Reach, "%s\n%s", c.rule, e.detail)
			}
			for _, part := range c.says {
				require.Contains(t, e.Reason, part)
			}
			if c.warns != nil {
				require.Equal(t, append([]string{}, c.warns...), append([]string{}, e.codes()...), "%s", e.detail)
			}
		})
	}
	if t.Failed() || testing.Short() {
		return
	}
	everyCode(t, reached)
	for _, want := range []string{
		"level different", "level practically the same", "level undecided", "level refused",
		"directivity different", "directivity practically the same", "directivity undecided", "directivity refused",
		"heard_by different", "heard_by practically the same", "heard_by undecided", "heard_by refused",
		"reciprocity different", "reciprocity practically the same", "reciprocity undecided", "reciprocity refused", "repeat holds", "repeat fails", "repeat undecided", "repeat refused",
		"match holds", "match fails", "match undecided", "match refused", "null holds", "null fails", "null undecided", "null refused",
		"known_step holds", "known_step fails", "known_step undecided", "known_step refused",
	} {
		require.True(t, verdicts[want], "no case ends in: %s", want)
		delete(verdicts, want)
	}
	require.Empty(t, verdicts, "a verdict that its kind does not have")
}

func allCases() []ruleCase {
	var all []ruleCase
	for _, some := range [][]ruleCase{rule1(), rule2(), rule3(), rule4(), rule5(), rule6(), rule7(), matchCases(), rule9(), heardByCases(), reciprocityCases(), inputCases(), besideRules()} {
		all = append(all, some...)
	}
	return all
}

// sentence: one plain sentence without a full stop at its end, and nothing unprintable or unfilled in it.
func sentence(t *testing.T, s string) {
	t.Helper()
	require.NotEmpty(t, s)
	require.NotContains(t, s, "%!")
	require.NotContains(t, s, ". ")
	require.NotContains(t, s, "NaN")
	require.NotContains(t, s, "Inf")
	require.False(t, strings.HasSuffix(s, "."), s)
}

// everyCode holds the codes that the cases reach against the documented ones, both ways.
func everyCode(t *testing.T, reached map[judge.Code]bool) {
	t.Helper()
	listed := map[judge.Code]bool{}
	for _, c := range judge.Codes() {
		require.NotEmpty(t, c.Meaning, c.Code)
		name := judge.Code{Code: c.Code, Of: c.Of}
		require.False(t, listed[name], "%s stands twice in the list", c.Code)
		listed[name] = true
		require.True(t, reached[name], "no case reaches the %s %s", c.Of, c.Code)
	}
	for c := range reached {
		require.True(t, listed[c], "the %s %s is not in the list", c.Of, c.Code)
	}
}
