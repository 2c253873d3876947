package stages

import (
	"fmt"
	"slices"

	"fairlobe/experiments"
	"fairlobe/pipeline/diag"
	"fairlobe/stages/internal/contrast"
	"fairlobe/stages/judge"

	"fairlobe/stages/schedule"
)

// Doubts looks at a plan before there are data: what in it can't answer the questions asked. Each is a warning, since a
// trial may be tried out or gone on with all the same.
func Doubts(exp *experiments.Experiment, planned []schedule.Dwell) diag.List {
	d := doubts{exp: exp}
	d.blocks(planned)
	d.dwells(planned)
	for i, c := range exp.Claims {
		d.claim(i, c)
	}
	return d.list
}

type doubts struct {
	exp  *experiments.Experiment
	list diag.List
}

func (d *doubts) warn(key, code, msg, mend string) {
	d.list = append(d.list, diag.Diag{Pos: d.exp.Pos(key), Severity: diag.Warning, Code: code, Msg: msg, Mend: mend})
}

// blocks: with too few of them no p value can pass among all the questions.
func (d *doubts) blocks(planned []schedule.Dwell) {
	bands := bandsOf(d.exp, planned)
	questions := 0
	for _, c := range d.exp.Claims {
		if judge.InFamily(c.Kind) {
			on := c.Bands
			if len(on) == 0 {
				on = bands
			}
			questions += len(on)
		}
	}
	need := contrast.FewestBlocks(contrast.Alpha, questions)
	for _, band := range bands {
		if n := plannedBlocks(planned, band); questions > 0 && n < need {
			d.warn("schedule.blocks", "few_blocks", fmt.Sprintf("%d blocks on %s can answer nothing: %d questions are asked, which needs at least %d", n, band, questions, need),
				fmt.Sprintf("plan %d blocks or more, 16 if you can, or ask fewer questions", need))
			return
		}
	}
}

// dwells: a receiver whose reports are passed on more rarely than dwells end can report one arm of a block only.
func (d *doubts) dwells(planned []schedule.Dwell) {
	every := d.exp.Schedule.SpotInterval
	for _, one := range planned {
		if length := one.End.Sub(one.Start); length < every {
			d.warn("schedule.spot_interval_min", "short_dwell", fmt.Sprintf("reports are passed on every %g minutes, and a dwell lasts %g: most receivers can report only one arm of a block", every.Minutes(), length.Minutes()),
				fmt.Sprintf("make the dwells at least %g minutes long", every.Minutes()))
			return
		}
	}
}

// repeat: how far erections lie apart needs three of them, and another arm in the same blocks.
func (d *doubts) repeat(at string, c experiments.Claim) {
	if len(d.exp.Arms) < 2 {
		d.warn(at+".kind", "no_comparison", "a repeat claim needs another arm in the same blocks, and there is one arm only: the verdict will be refused",
			"add an arm that every session has")
		return
	}
	for _, arm := range c.Arms {
		var numbers []int
		for _, s := range d.exp.Schedule.Sessions {
			n, told := s.Erection[arm]
			if !told {
				n = 1
			}
			if !slices.Contains(numbers, n) {
				numbers = append(numbers, n)
			}
		}
		if len(numbers) < leastErections {
			d.warn(at+".kind", "few_erections", fmt.Sprintf("the sessions declare fewer than %d erections of %s: the verdict will be undecided", leastErections, arm),
				"plan more sessions, and number the putting-up of each arm in erection")
			return
		}
	}
}

// leastErections is what the judge of a repeat claim needs.
const leastErections = 3

func (d *doubts) claim(i int, c experiments.Claim) {
	at := fmt.Sprintf("claim[%d]", i)
	if c.Kind == "repeat" {
		d.repeat(at, c)
	}
	if c.Direction == "received" && d.exp.Fixed.Sends == schedule.EverySlot {
		d.warn(at+".direction", "never_listens", `the claim is on what is received, and sends = "every slot" leaves no slot to listen in`,
			`state the slots in which you send, for example sends = "even slots" in [fixed]`)
	}
	if c.Compares && c.Kind != "null" && len(c.Arms) == 2 && len(d.exp.Differences(c.Arms...)) == 0 {
		d.warn(at+".compare", "no_difference", fmt.Sprintf("nothing that is declared differs between %s and %s", c.Arms[0], c.Arms[1]),
			"declare in [[arm]] what differs, or ask with kind = \"null\" whether the trial itself is sound")
	}
}
