package schedule

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"fairlobe/pipeline/diag"
	"fairlobe/stages/schedule/rows"
)

// checkOrder judges the lines against each other. places[i] is where dwells[i] stands.
func checkOrder(dwells []Dwell, places []rows.Row) diag.List {
	if list := checkClock(dwells, places); len(list) > 0 {
		return list // blocks and positions can only be judged in the order of time
	}
	var list diag.List
	var arms []string
	for _, d := range dwells {
		arms = append(arms, d.Arm)
	}
	slices.Sort(arms)
	arms = slices.Compact(arms)
	for _, group := range Blocks(dwells) {
		list = append(list, checkPositions(dwells, places, group)...)
		list = append(list, checkArms(dwells, places, group, arms)...)
	}
	list = append(list, checkSessions(dwells, places)...)
	return append(list, checkBlockNumbers(dwells, places)...)
}

// checkSessions wants each session in one piece.
func checkSessions(dwells []Dwell, places []rows.Row) diag.List {
	last := map[int]int{} // session -> index of its latest dwell
	for i, d := range dwells {
		if before, known := last[d.Session]; known && before != i-1 {
			return diag.List{{
				Pos:     places[i].Pos(colSession),
				Msg:     fmt.Sprintf("session %d goes on after session %d has begun", d.Session, dwells[i-1].Session),
				Mend:    "a session is one outing: give a later one its own number",
				Related: []diag.Pos{places[before].Pos(colSession)},
			}}
		}
		last[d.Session] = i
	}
	return nil
}

func checkClock(dwells []Dwell, places []rows.Row) diag.List {
	var list diag.List
	for i := 1; i < len(dwells); i++ {
		before, d := dwells[i-1], dwells[i]
		fault := diag.Diag{Pos: places[i].Pos(colStart), Related: []diag.Pos{places[i-1].Pos(colEnd)}}
		switch {
		case d.Start.Before(before.Start):
			fault.Msg = fmt.Sprintf("the dwell starts at %s, before that of the line above", stamp(d.Start))
			fault.Mend = "sort the lines by start"
		case d.Start.Before(before.End):
			fault.Msg = fmt.Sprintf("the dwell starts at %s, before that of the line above is over", stamp(d.Start))
			fault.Mend = "let it start at " + stamp(before.End) + " or later: end is the first moment that no longer belongs to a dwell"
		default:
			continue
		}
		list = append(list, fault)
	}
	return list
}

// Blocks gives the indices of the dwells of each block (one session, one band), blocks in the order in
// which they begin, indices in the order of dwells.
func Blocks(dwells []Dwell) [][]int {
	type key struct {
		session int
		band    string
		block   int
	}
	place := map[key]int{}
	var out [][]int
	for i, d := range dwells {
		k := key{d.Session, d.Band, d.Block}
		at, known := place[k]
		if !known {
			at = len(out)
			place[k] = at
			out = append(out, nil)
		}
		out[at] = append(out[at], i)
	}
	return out
}

func checkPositions(dwells []Dwell, places []rows.Row, group []int) diag.List {
	for n, i := range group {
		if d := dwells[i]; d.Position != n+1 {
			return diag.List{{
				Pos:  places[i].Pos(colPosition),
				Msg:  fmt.Sprintf("position %d where position %d of block %d is expected", d.Position, n+1, d.Block),
				Mend: "number the dwells of a block from 1 in the order in which they start",
			}}
		}
	}
	return nil
}

func checkArms(dwells []Dwell, places []rows.Row, group []int, arms []string) diag.List {
	count := map[string]int{}
	for _, i := range group {
		count[dwells[i].Arm]++
	}
	least := slices.MinFunc(arms, func(a, b string) int { return cmp.Compare(count[a], count[b]) })
	most := slices.MaxFunc(arms, func(a, b string) int { return cmp.Compare(count[a], count[b]) })
	if count[least] == count[most] {
		return nil
	}
	d := dwells[group[0]]
	return diag.List{{
		Pos: places[group[0]].Pos(colArm),
		Msg: fmt.Sprintf("block %d of session %d on %s holds %q %d times and %q %d times",
			d.Block, d.Session, d.Band, most, count[most], least, count[least]),
		Mend: "give every block each arm equally often: " + strings.Join(arms, ", "),
	}}
}

// checkBlockNumbers wants blocks to begin in the order 1, 2, 3, .. within session and band, each after
// the one before is over.
func checkBlockNumbers(dwells []Dwell, places []rows.Row) diag.List {
	type key struct {
		session int
		band    string
	}
	var list diag.List
	current := map[key]int{}
	for i, d := range dwells {
		k := key{d.Session, d.Band}
		if n := current[k]; d.Block != n && d.Block != n+1 || d.Block == 0 {
			list = append(list, diag.Diag{
				Pos:  places[i].Pos(colBlock),
				Msg:  fmt.Sprintf("block %d follows block %d in session %d on %s", d.Block, n, d.Session, d.Band),
				Mend: "count blocks from 1 without holes within session and band, one after the other",
			})
		}
		current[k] = d.Block
	}
	return list
}

// fewestForRegular is how many blocks it takes before a regular order is more than a chance. Six fair
// coins give one of the two regular orders of two arms with a chance of 4 in 64.
const fewestForRegular = 6

// PlainlyRegular tells whether the order on some band is one that no honest draw gives but by rare
// chance: all blocks alike, or two or more orders in strict rotation, from 6 blocks on. Why says it in
// words. A schedule of one arm has no order.
func PlainlyRegular(dwells []Dwell) (regular bool, why string) {
	orders := map[string][]string{}
	arms := map[string]bool{}
	for _, group := range Blocks(dwells) {
		var names []string
		for _, i := range group {
			names = append(names, dwells[i].Arm)
			arms[dwells[i].Arm] = true
		}
		band := dwells[group[0]].Band
		orders[band] = append(orders[band], strings.Join(names, "\x00"))
	}
	if len(arms) < 2 {
		return false, ""
	}
	for _, band := range slices.Sorted(maps.Keys(orders)) {
		if period := rotation(orders[band], len(arms)); period > 0 {
			return true, regularWords(band, orders[band][:period], len(orders[band]))
		}
	}
	return false, ""
}

// rotation is the shortest period, at most longest, with which the orders repeat; 0 if there is none.
func rotation(orders []string, longest int) int {
	for period := 1; period <= longest; period++ {
		if len(orders) < max(fewestForRegular, 2*period) {
			return 0
		}
		if slices.Equal(orders[period:], orders[:len(orders)-period]) {
			return period
		}
	}
	return 0
}

func regularWords(band string, orders []string, blocks int) string {
	var words []string
	for _, o := range orders {
		words = append(words, strings.ReplaceAll(o, "\x00", " "))
	}
	if len(words) == 1 {
		return fmt.Sprintf("all %d blocks on %s have the order %s", blocks, band, words[0])
	}
	return fmt.Sprintf("the %d blocks on %s take turns: %s, over and over", blocks, band, strings.Join(words, ", then "))
}
