package pooling

import (
	"cmp"
	"fmt"
	"slices"

	"fairlobe/pipeline/diag"
)

// member is a study in a pool, with the name that tells it from the others.
type member struct {
	*Study
	label string
}

// labelled puts the studies in their order, by name, place and identity, and names them.
func labelled(studies []Study) []member {
	out := make([]member, len(studies))
	for i := range studies {
		s := studies[i]
		out[i] = member{&s, fmt.Sprintf("%s (%s)", s.Name, s.Square)}
	}
	slices.SortStableFunc(out, func(a, b member) int {
		return cmp.Or(cmp.Compare(a.label, b.label), cmp.Compare(a.Identity, b.Identity))
	})
	counts := map[string]int{}
	for _, m := range out {
		counts[m.label]++
	}
	const digits = len("sha256:") + 8
	for i, m := range out {
		if counts[m.label] > 1 {
			out[i].label = fmt.Sprintf("%s (%s, %s)", m.Name, m.Square, m.Identity[len("sha256:"):min(digits, len(m.Identity))])
		}
	}
	return out
}

// mostShared is the share of the smaller bundle's receptions that may stand in another one.
const mostShared = 0.5

// sameData refuses bundles that hold the same data.
func sameData(all []member) diag.List {
	var faults diag.List
	for i, a := range all {
		for _, b := range all[i+1:] {
			if a.Identity == b.Identity {
				faults = append(faults, diag.Diag{Pos: diag.Pos{File: b.File}, Code: "same_bundle", Related: []diag.Pos{{File: a.File}},
					Msg: fmt.Sprintf("this is the same bundle as %s (%s)", a.File, a.Identity), Mend: "leave one of the two out"})
				continue
			}
			n := shared(a.Receptions, b.Receptions)
			smaller := min(len(a.Receptions), len(b.Receptions))
			if smaller == 0 || float64(n) <= float64(mostShared*float64(smaller)) {
				continue
			}
			keep, leave := a, b
			if larger(b.Study, a.Study) {
				keep, leave = b, a
			}
			faults = append(faults, diag.Diag{Pos: diag.Pos{File: leave.File}, Code: "same_data", Related: []diag.Pos{{File: keep.File}},
				Msg:  fmt.Sprintf("this holds the same data as %s: %d of the %d receptions of the smaller one stand in both, and data must count once", keep.File, n, smaller),
				Mend: fmt.Sprintf("leave %s out: %s", leave.File, whyKept(keep.Study, leave.Study))})
		}
	}
	return faults.Sort()
}

// larger tells whether a study has more blocks than another, or as many and more looks, or receptions.
func larger(a, b *Study) bool {
	return cmp.Or(cmp.Compare(a.blocks(), b.blocks()), cmp.Compare(a.Looks, b.Looks), cmp.Compare(len(a.Receptions), len(b.Receptions))) > 0
}

func whyKept(keep, leave *Study) string {
	switch {
	case keep.blocks() > leave.blocks():
		return fmt.Sprintf("the other one has more blocks, %d against %d", keep.blocks(), leave.blocks())
	case keep.Looks > leave.Looks:
		return fmt.Sprintf("the other one is later, with %d looks against %d", keep.Looks, leave.Looks)
	}
	return "one of the two is enough"
}

// blocks is the greatest number of blocks that a finding rests on.
func (s *Study) blocks() int {
	most := 0
	for _, f := range s.Findings {
		most = max(most, f.Blocks)
	}
	return most
}

// shared counts what two sorted lists have in common, each as often as it stands in both.
func shared(a, b []uint64) int {
	if len(a) == 0 || len(b) == 0 || a[len(a)-1] < b[0] || b[len(b)-1] < a[0] {
		return 0
	}
	n := 0
	for i, j := 0, 0; i < len(a) && j < len(b); {
		switch {
		case a[i] < b[j]:
			i++
		case a[i] > b[j]:
			j++
		default:
			n, i, j = n+1, i+1, j+1
		}
	}
	return n
}

// aboutOperators warns of studies that may not be independent.
func aboutOperators(all []member) []Warning {
	var out []Warning
	byOperator := map[string][]string{}
	var order []string
	for _, m := range all {
		if byOperator[m.Operator] == nil {
			order = append(order, m.Operator)
		}
		byOperator[m.Operator] = append(byOperator[m.Operator], m.label)
	}
	for _, operator := range order {
		if labels := byOperator[operator]; len(labels) > 1 {
			out = append(out, Warning{"one_operator", listed(labels) + " are of one operator: where they ask the same question, they count as one study"})
		}
	}
	for i, a := range all {
		for _, b := range all[i+1:] {
			if a.Square == b.Square && a.Operator != b.Operator {
				out = append(out, Warning{"same_square", fmt.Sprintf("%s and %s come from the same square under different operators' keys: they may be of the same operator, and then they are no independent studies", a.label, b.label)})
			}
		}
	}
	return out
}
