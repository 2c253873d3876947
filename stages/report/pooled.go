package report

import (
	"fmt"
	"strings"

	"fairlobe/stages/pooling"
)

// What the text and the page of a pool both tell.

// pooledTitle names a pool by the experiment that most of its bundles are of or repeat, the first of them in case of doubt.
func pooledTitle(doc *pooling.Document) string {
	of := func(s pooling.StudyEntry) string {
		if s.Origin != nil && s.Origin.Title != "" {
			return s.Origin.Title
		}
		return s.Title
	}
	counts := map[string]int{}
	best := ""
	for _, s := range doc.Studies {
		counts[of(s)]++
	}
	for _, s := range doc.Studies {
		if best == "" || counts[of(s)] > counts[best] {
			best = of(s)
		}
	}
	if counts[best] < len(doc.Studies) {
		return oneLine(best) + " and others"
	}
	return oneLine(best)
}

// pooledFrom says what was put together.
func pooledFrom(doc *pooling.Document) string {
	operators := map[string]bool{}
	for _, s := range doc.Studies {
		operators[s.Operator] = true
	}
	if len(doc.Studies) == 1 {
		return "One bundle: nothing to pool yet. What it found by itself stands here."
	}
	return fmt.Sprintf("%s of %s, put together.", counted(len(doc.Studies), "bundle"), counted(len(operators), "operator"))
}

// pooledAnswer is the whole in one sentence.
func pooledAnswer(doc *pooling.Document) string {
	if len(doc.Claims) == 0 { // of a single bundle; several that share no question are not pooled
		return "Its experiment declares no claim."
	}
	var order []string
	counts := map[string]int{}
	for _, c := range doc.Claims {
		if counts[c.Verdict] == 0 {
			order = append(order, c.Verdict)
		}
		counts[c.Verdict]++
	}
	var parts []string
	for _, v := range order {
		parts = append(parts, fmt.Sprintf("%d %s", counts[v], v))
	}
	said := fmt.Sprintf("Of %s that two bundles or more ask: %s.", counted(len(doc.Claims), "question"), strings.Join(parts, ", "))
	if len(doc.Studies) == 1 {
		said = fmt.Sprintf("Of its %s: %s.", counted(len(doc.Claims), "question"), strings.Join(parts, ", "))
	}
	return said
}

// claimHeading names a question.
func claimHeading(c *pooling.ClaimEntry) string { return oneLine(c.Claim + ", " + c.Band) }

// sizeOf says what a size of a claim is.
func sizeOf(c *pooling.ClaimEntry) string {
	switch c.Kind {
	case "directivity":
		return "size of the lobe"
	case "reciprocity":
		return "sent minus received, for equal powers"
	case "heard_by":
		return "heard by " + difference(c.Arms)
	}
	return difference(c.Arms)
}

// sized writes a size in the claim's unit; an amplitude has no sign.
func sized(c *pooling.ClaimEntry, v float64) string {
	s := signed(v)
	if c.Unit == "points" {
		s = inPoints(s)
	}
	if c.Kind == "directivity" {
		s = strings.TrimPrefix(s, "+")
	}
	return s
}

// ranged writes an interval in the claim's unit.
func ranged(c *pooling.ClaimEntry, i *[2]float64) string {
	if i == nil {
		return "-"
	}
	from, _, _ := strings.Cut(sized(c, i[0]), " ")
	return from + " to " + sized(c, i[1])
}

// spread writes a standard deviation between places, which has no sign.
func spread(c *pooling.ClaimEntry, v float64) string {
	return strings.TrimPrefix(sized(c, v), "+")
}

// spreadWords say how much places differ; "" where nothing was pooled.
func spreadWords(c *pooling.ClaimEntry) string {
	h := c.Heterogeneity
	if h == nil {
		return ""
	}
	test := fmt.Sprintf("Q = %.2f with %s, p = %s.", h.Q, counted(h.QDF, "degree")+" of freedom", number(h.QP))
	open := ""
	if h.TauIn != nil {
		open = fmt.Sprintf(" (95\u00a0%%: %s to %s)", strings.Fields(spread(c, h.TauIn[0]))[0], spread(c, h.TauIn[1]))
	}
	if h.Tau == 0 {
		said := "The places differ no more than chance within the trials explains."
		if h.TauIn != nil {
			said = fmt.Sprintf("The places differ no more than chance within the trials explains; a standard deviation of up to %s between them is not ruled out.", spread(c, h.TauIn[1]))
		}
		return said + " " + test
	}
	said := fmt.Sprintf("Places differ by a standard deviation of about %s%s.", spread(c, h.Tau), open)
	if h.I2 != nil {
		said += fmt.Sprintf(" That is %.0f\u00a0%% of all scatter (I\u00b2); the rest is chance within the trials.", *h.I2)
	}
	return said + " " + test
}

// nextWords say what the next operator may find; "" with fewer than three.
func nextWords(c *pooling.ClaimEntry) string {
	if c.Prediction == nil {
		return ""
	}
	return fmt.Sprintf("The next operator, at the next place, may find %s (95\u00a0%% prediction interval).", ranged(c, c.Prediction))
}

// frameNote says from where angles count.
func frameNote(d *pooling.Directivity) string {
	if d.Frame == pooling.Wire {
		return "Directions count clockwise from the way in which each wire runs."
	}
	return "Directions count clockwise from north."
}

// lobeWhere is the direction of a lobe, for a table.
func lobeWhere(l pooling.LobeEntry) string {
	if l.TowardDeg == nil {
		return "any is possible"
	}
	if l.Harmonic == 2 {
		return fmt.Sprintf("%.0f and %.0f\u00b0 (%.0f to %.0f)", *l.TowardDeg, *l.TowardDeg+180, l.TowardIn[0], l.TowardIn[1])
	}
	return fmt.Sprintf("%.0f\u00b0 (%.0f clockwise to %.0f)", *l.TowardDeg, l.TowardIn[0], l.TowardIn[1])
}

// pooledSure says on what a verdict rests.
func pooledSure(c *pooling.ClaimEntry) []string {
	var out []string
	if c.Kind != "match" && c.Kind != "repeat" {
		out = append(out, fmt.Sprintf("n: %s, %s", counted(c.Operators, "operator"), counted(c.Experiments, "bundle")))
	}
	if c.Reach != nil {
		out = append(out, "reach: "+oneLine(*c.Reach))
	}
	if c.PAdjusted != nil && c.FamilySize != nil {
		out = append(out, fmt.Sprintf("p = %s among %s", number(c.PAdjusted), questions(*c.FamilySize)))
	}
	return out
}

// repeatWords tell of which experiment a bundle is a repeat, by its label if that is in the pool.
func repeatWords(doc *pooling.Document, o *pooling.Origin) string {
	if o == nil {
		return "no repeat, or not said to be one"
	}
	said := o.Kind + " repeat of " + oneLine(o.Title)
	for _, s := range doc.Studies {
		if s.Identity == o.Identity {
			said = o.Kind + " repeat of " + oneLine(s.Label)
		}
	}
	if len(o.Differences) > 0 {
		said += ": " + oneLine(strings.Join(o.Differences, "; "))
	}
	return said
}

func sealWords(s *pooling.StudyEntry) string {
	switch {
	case s.Seal == nil:
		return "not sealed"
	case s.SealedBeforeData:
		return "sealed before the data"
	}
	return "sealed, but not as it was carried out or not before the data"
}
