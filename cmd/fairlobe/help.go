package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"fairlobe/experiments"
	"fairlobe/stages/judge"
)

const rootLong = `fairlobe compares wire antennas in the field. You state a question and what you
hold the same, it draws a random order of the arms, and from the reports of
those who heard you it tells whether one arm is better, by how many dB, on which
bands, and whether that is the antenna or luck.

A first look, with data made up for a stated truth:

    fairlobe new --demo demo
    fairlobe run demo/experiments/ridge-wire.toml

Your own trial, in this order:

    fairlobe new my-wire                  an experiment file to fill in
    fairlobe check my-wire.toml           what is wrong or doubtful in it
    fairlobe design my-wire.toml          how long it takes, what it can find
    fairlobe rehearse my-wire.toml        what it would find in a made-up sky
    fairlobe design --seal my-wire.toml   draws the order and fixes it; send the
                                          line that it prints to a friend
    fairlobe field my-wire.toml           the trial: what to connect when, and a
                                          log of what you do
    fairlobe run my-wire.toml             verdicts
    fairlobe share my-wire.toml           a bundle for others, without what is
                                          private

What others share:

    fairlobe receive their-wire.zip       checks one and prepares your repeat
    fairlobe pool a.zip b.zip             what several found, put together

EXIT STATUS
    0    done, whatever the verdicts
    1    experiment file, data or log are at fault (said at file:line), or the
         machine failed
    2    the command line is wrong; nothing was read
    3    receive --verify: other bytes come out
    130  interrupted`

const runLong = `Reads the experiment and its data, judges each claim, and writes the output
folder:

    report.html     the answers and all that stands behind them, with pictures
    report.txt      the same in words: how sure they are, where each row went
    verdicts.json   the verdicts for programs (datasets/verdicts.schema.json)
    tables/         every table as Parquet; with --csv as CSV too
    manifest.json   what was read and written, with SHA-256

Only what changed is computed again. Each run over data that no earlier run has
seen adds a line to NAME.looks.csv beside the experiment file: how often one
looks decides what a verdict is worth. Keep it.

The answers are printed on standard output, all else on standard error.

    fairlobe run ridge-wire.toml
    fairlobe run ridge-wire.toml --json > verdicts.json

EXIT STATUS
    0    done, whatever the verdicts; also if there are no reports yet
    1    experiment file, data or log are at fault, or the machine failed:
         what earlier runs wrote is untouched
    2    the command line is wrong; nothing was read
    130  interrupted; the next run goes on from there

See also: fairlobe help verdicts`

const shareLong = `Packs the experiment, its tables, verdicts and report into NAME.zip, so that
another operator can check it, repeat it (fairlobe receive) and pool it with
others. The file is a zip with a BagIt bag and a data package inside: any
operator can read it without fairlobe.

Private by default. Your call, notes, spot and sweep files, names of files and
folders, and the locators of stations stay home; your own locator is cut to 4
characters; call signs of stations are hashed with a secret key that is drawn on
the first use and never leaves the house. Judge and report run once more over
what would leave, and nothing is written unless every verdict and number is that
of home; then the whole bundle is searched for what must not be in it. The
screen says item by item what leaves and what stays.

--design-only shares the experiment alone, before there are data.
--licence says what others may do with it: CC-BY-4.0 (use it and name you),
CC0-1.0 (use it), ODbL-1.0, or any other SPDX identifier. Without it no licence
is given.
--key names another key file. Bundles of one key are known to be of one
operator, whose trials pool does not count as independent: keep one key.

Sharing shows the verdicts, so over new data it counts as a look, as run does. A
former bundle of the same experiment is replaced, any other file is left alone.

    fairlobe share my-wire.toml --licence CC-BY-4.0
    fairlobe share my-wire.toml --design-only --to design.zip

EXIT STATUS
    0    the bundle is written
    1    experiment file, data, log or key are at fault, something private
         stands in a text of yours (said at file:line), or the machine failed:
         nothing was written
    2    the command line is wrong; nothing was read
    130  interrupted; nothing was written`

const poolLong = `Reads bundles that operators have shared, finds the questions that two or more
of them ask, and puts the answers together: one verdict for each claim and band,
the interval, how much places differ, and what the next operator may find.

    fairlobe pool mine.zip theirs.zip a-third.zip

Each operator counts once: several bundles of one operator are one study. The
same data twice are refused. What can't enter is listed with its reason: what
was refused, described only, or is not over. Claims on the match and on
repetition are counted, not pooled.

Checksums show that a bundle arrived as it was sent, not that its figures follow
from its reports: fairlobe receive --verify BUNDLE judges them again.

The output folder:

    report.html     the answers, a forest plot of each, and the figures
    report.txt      the same as text
    pooled.json     the same for programs (datasets/pooled.schema.json)
    manifest.json   the identities of the bundles, the outputs with SHA-256

Verdicts are those of a single trial, with Holm's correction over the questions
pooled. A verdict other than "undecided" needs two intervals, that of Knapp and
Hartung and the guarded one, which can't be too short by luck. "counted" stands
for claims that are not pooled, and its reason tells the counts.

Codes of reasons that no single trial has
    one_study            one bundle alone: its own verdict stands there
    one_operator         what can enter is of one operator: nothing to pool
    none_enters          nothing that was found can enter
    only_without_guard   it would pass but for the guarded interval
    counted              the reason tells how many came to which verdict
Codes of warnings
    two_studies, few_studies   how much places differ is badly known
    one_operator               bundles of one operator count as one study
    same_square                two operators' keys, and one square
    smallest_differs           the smallest of the stated differences counts
    frames_differ, wires_differ   in which frame lobes belong is not agreed on
    same_receivers             a lobe from north may be that of receivers
    disturbed_trial            a trial enters that was undecided for a fault
    asks_something_else        a bundle enters nowhere
    selection                  only what was shared can be pooled

A lobe is compared from north, or from the way in which each wire runs: with
--frame wire, or where the claims say so.

EXIT STATUS
    0    done, whatever the verdicts
    1    a bundle is at fault, holds no data or the same data as another, or no
         two ask the same question: nothing was written
    2    the command line is wrong; nothing was read
    130  interrupted; nothing was written

See also: fairlobe help verdicts`

const checkLong = `Reads the experiment file and all its data without judging anything, and says
what is wrong or doubtful: each finding with file:line:column, what it is, and
how to mend it. It lists in what the arms differ, also what follows from the
declared figures, and what the seal says; of a repeat (NAME.origin.json stands
beside it) in what it differs from the original.

Run it before the trial, and again when data have come in. It shows no result,
so it is no look.

EXIT STATUS
    0  no faults; there may be warnings
    1  there are faults`

const designLong = `Shows the schedule that the experiment file and its seed give: blocks, changes,
hours on the air and of changing. The order of the arms is drawn from the seed
by a fair coin for each block; see fairlobe help schedule.

Then it says what that schedule can find: in how many of 100 such trials each
claim would be answered, the blocks, hours and outings for 8 and 9 of 10, what
the arms can't tell apart, slots and reports, the sun, energy, RF exposure, and
changes that can be pasted into the experiment file.

Most numbers are formulas. They rest on how much one block scatters, which is
assumed and said, or taken from a former run of these arms with --pilot, the
output folder of fairlobe run. For a direction, below 12 blocks and below 30
stations the formulas promise nothing: there trials are simulated through the
real judge, 40 of each of two such questions. --simulate 400 simulates so many
of every question, and looks for the blocks that keep the promise, which takes
minutes, or an hour for many questions; --simulate 0 simulates none. The seed is
the experiment's, so the numbers are the same each time.

    fairlobe design --pilot first-day.out --curve power.svg my-wire.toml

--seal writes NAME.seal.json: a digest of all that decides the verdict, with the
order, and says nothing of the plan. If the experiment file has no seed, one is
drawn and written into it. Only a seal made before the data makes the evidence
"randomised". A seal is never overwritten.

--schedule FILE writes the schedule as CSV: what to connect when.
--calendar FILE writes it as iCalendar, an alarm a minute before each dwell. If
the schedule moves, import it again: the old entries are replaced.
--page FILE writes one HTML page that works without a network. On a phone it
says what to connect now and keeps the switch log, and gives that as
switches.csv; printed it is a table to fill in. Open it in the phone's browser,
and try before the trial that it calls a remark "saved on this phone".
A file that holds anything else is left alone; --curve writes only over such a
picture.

    fairlobe design --seal --schedule order.csv my-wire.toml
    fairlobe design --page field.html --calendar field.ics my-wire.toml

fairlobe never says that something is safe or allowed: local codes and your
licence come first.`

const fieldLong = `Keeps the trial while it is carried out: shows what to connect now, what is next
and how long it is until then, rings the bell at each change, and appends each
thing you say to the switch log (fairlobe help log) at once: what it has told
you is on the disk, whatever happens to the power. The same command goes on
after any break; it needs nothing but the schedule and the log. It never keys a
transmitter: your radio does what you tell it.

All times are UTC. Keys, also on the screen:

    c, space  connected: the arm that is asked for is on
    e         earlier: when a dwell was connected that was not confirmed
    p         pause, and go on: what follows moves; a block under way is lost
    d         drop a block, with a reason that does not look at signals
    w         wrong arm noticed: drops the block for that reason
    v, n      deviation from the plan; note
    o, b      readings: power out (W), battery (V)
    k, r      this clock, the radio's clock: s ahead of UTC; asked at both ends
    x, q      end the session; leave it, to go on later
    Esc       takes an open question back

What you confirm late is logged with the time of your key. Slots before it are
left out in every dwell of the block alike; if less than half are left the block
is lost. The program says at once what an entry leads to. If a block is lost, go
on as planned: the other blocks count.

--from now     starts the session late: the log gets a start, and all of it
               moves to the next slot edge.
--session N    takes session N, not the one that is on or next.
--transcribe   asks page by page for what you wrote on paper; a page is written
               once you have said y to it, and can be corrected until then. It
               can be left and taken up again.
--blind        shows codes, X1 and X2, for the arms. Whoever is at the switch
               needs the list that --blind-key prints; print it for them, and
               don't look. The log has the true names all the same, since the
               analysis reads them: leave it closed until the verdict.

Where standard output is no terminal it prints plain lines, and reads keys and
answers as lines.

One program at a time may have the log open. A last line that a crash has torn
is finished, or moved to switches.csv.torn, and it says so.

    fairlobe field my-wire.toml
    fairlobe field --session 2 --from now my-wire.toml

EXIT STATUS
    0    the session was ended, or left
    1    the experiment file or the log is at fault, no session is left, or
         another program has the log
    2    the command line is wrong; nothing was read
    130  interrupted; the log has everything`

const newLong = `Writes NAME.toml, an experiment file with comments to fill in, and the folder
NAME for its data: spots, sweeps and log. Nothing that exists is overwritten.

In a terminal, with no flag, it asks for the few things that matter. Else it
takes them from flags, or writes what is to be filled in, marked with <--.

    fairlobe new my-wire
    fairlobe new my-wire --about turned --call Q1RDG --locator MN83kp
    fairlobe new --demo demo     the built-in demos: experiments, seals and data

QUESTIONS, for --about
    height        does lifting the feedpoint help?
    turned        does turning the wire turn its lobes?
    wires         which of two wires is better?
    choke         does a choke on the feedline change anything?
    counterpoise  does a counterpoise help?
    null          is the trial fair? one antenna under two names
    step          does the trial find half the power?
    both-ways     do I hear as well as I am heard?`

const receiveLong = `Opens what fairlobe share has made: checks every checksum, the seal, the
schedule and all tables against one another, refuses whatever is not right, and
prepares a repeat in the folder DIR (default: the bundle's name), which must not
exist or be empty. Nothing is written unless all of it is right.

    DIR/NAME.toml          your repeat: the same question, claims, smallest
                           difference, arms and fixed variables; an order drawn
                           afresh, on days to come
    DIR/my-station.toml    your call, locator and ground, to be filled in
    DIR/NAME.origin.json   where it comes from
    DIR/NAME/              for your spots, sweeps and log
    DIR/received/          what you received, as it came

Write down what you really put up. fairlobe check then says in what your repeat
differs: a direct repeat differs in place, days and length alone, a varied one in
more. With other claims or another smallest difference it is another question,
and fairlobe pool will not add it to the original.

--station FILE  copies your station's file, if you have one.
--start TIME    the first slot of the first session; the others keep their
                distance from it.
--seed NUMBER   the seed, where several operators agree on one.
--verify        unpacks nothing. It runs the analysis again from the reports in
                the bundle, and says whether the same bytes come out.

    fairlobe receive ridge-wire.zip
    fairlobe receive --station my-station.toml ridge-wire.zip my-repeat
    fairlobe receive --verify ridge-wire.zip

EXIT STATUS
    0    done; with --verify: the same bytes
    1    the bundle or the station's file is at fault, or the machine failed:
         nothing was written
    2    the command line is wrong; nothing was read
    3    --verify: other bytes come out
    130  interrupted; nothing was written`

const helpSchedule = `How the order of the arms is drawn, so that anyone can do it again

Each block holds every arm equally often, in an order drawn independently of
every other block. For two arms that is a fair coin. The numbers of AB and BA
are not balanced: that would leave fewer orders that could have been, and the
test counts those.

The generator is PCG (DXSM) with 128 bits of state, as in Go's math/rand/v2,
with the first half of its seed the experiment's seed and the second the 64-bit
FNV-1a hash of the text "schedule". A block of k arms is shuffled from the order
of the experiment file: for i = k-1 down to 1 the arms at places i and j are
exchanged, j being the high word of the 128-bit product u*(i+1), where u is the
next output; an output is passed over if the low word of the product is below
2^64 mod (i+1). For two arms j is the top bit of u, and 1 leaves the arms as
they stand in the file.

Blocks are drawn session by session, in order. With rotate = "bands within arm"
one draw serves all bands of a block; with "arms within band" each band has a
draw of its own, in the order of the schedule.

The time between two dwells is always that of a change, even if the same arm
stays on: so the clock does not tell what the coin showed. Only in the middle of
a mirrored block, where the arm always stays, there is none. Dwells begin on
the edges of slots, counted from 00:00 UTC.`

const helpVerdicts = `How to read a verdict

different             after correction for all questions asked, the difference
                      would be rare by chance
practically the same  all that the data allow lies within the difference that
                      you said matters
undecided             the data allow no difference and also one that matters:
                      no proof of either
refused               the trial can't answer; the reason says why, and what
                      would
holds, fails          for claims on the match or on the trial itself

The interval holds every difference that the data do not contradict at 95 %.
Each interval stands for itself; the correction for many questions (Holm) is in
p_adjusted only.

"these receivers" means: at the stations that heard you, in these sessions.
"beyond" means that by the spread between regions it should hold at others too.

"undecided" is not "no difference". And the dB are an average over the stations
heard: where the difference depends on the direction, the report says so.

Evidence
    randomised                 the order was drawn and sealed before the data
    randomised by declaration  the order is said to be random; nothing proves it
    compared, observed only    no random order: described, not tested

Numbers marked as misleading show what a reading that ignores the design would
have said.`

const helpLog = `The switch log, switches.csv: what really happened. fairlobe field writes it.

    time,entered,event,session,band,block,arm,value,note

time      when it happened, UTC with Z; entered: when it was written down (lines
          are only added)
event     start       the real first slot of a session: the rest shifts with it
          connected   the arm is on the air; later than planned shortens all
                      dwells of the block alike
          pause, resume   what follows shifts; a pause inside a block drops it
          drop        the block shall not count, for the reason in note, which
                      must not look at signals
          end         the trial is over (or the session that is named)
          deviation, power (W), battery (V), clock (s, log minus UTC),
          radio_clock (s), remark

The log never changes which arm a dwell counts for: if you were on the wrong arm
and noticed, drop the block. Without a log the planned times count.`

// usageTemplate is what stands below the help of a command.
const usageTemplate = `Usage: {{if .HasParent}}{{.UseLine}}{{else}}fairlobe COMMAND{{end}}
{{if .HasAvailableSubCommands}}
Commands:
{{range .Commands}}{{if .Runnable}}  {{rpad .Name 12}}{{.Short}}
{{end}}{{end}}
Topics, each with fairlobe help TOPIC:
{{range .Commands}}{{if not .Runnable}}  {{rpad .Name 12}}{{.Short}}
{{end}}{{end}}{{end}}{{if .HasAvailableLocalFlags}}
Flags:
{{.LocalFlags.FlagUsagesWrapped 80 | trimTrailingWhitespaces}}
{{end}}`

// helpCommand is the help of a command or topic; a name that is neither is a fault of the command line.
func helpCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND]",
		Short: "Help on a command or topic",
		RunE: func(c *cobra.Command, args []string) error {
			root := c.Root()
			if len(args) > 1 {
				return usage("help wants one command or topic, %d were given", len(args))
			}
			found, _, err := root.Find(args)
			if err != nil || found == root && len(args) > 0 {
				return noCommand(root, args)
			}
			found.InitDefaultHelpFlag()
			found.InitDefaultVersionFlag()
			return found.Help()
		},
	}
}

// helpCodes lists the codes of verdicts.json.
func helpCodes() string {
	var out strings.Builder
	out.WriteString("The codes in verdicts.json. They keep their meaning; new ones may be added.\n")
	last := ""
	for _, c := range judge.Codes() {
		if c.Of != last {
			fmt.Fprintf(&out, "\n%s\n", map[string]string{"reason": "reason_code", "warning": "warnings, code"}[c.Of])
			last = c.Of
		}
		fmt.Fprintf(&out, "  %s\n", c.Code)
		say(&out, "      ", "      ", c.Meaning)
	}
	return strings.TrimRight(out.String(), "\n")
}

// topics are helps without a command.
func topics() []*cobra.Command {
	topic := func(name, short string, text func() string) *cobra.Command {
		c := &cobra.Command{Use: name, Short: short}
		c.SetHelpFunc(func(c *cobra.Command, _ []string) { fmt.Fprintln(c.OutOrStdout(), text()) })
		return c
	}
	fixed := func(s string) func() string { return func() string { return s } }
	return []*cobra.Command{
		topic("experiment", "every key of the experiment file", experiments.Reference),
		topic("schedule", "how the order of the arms is drawn", fixed(helpSchedule)),
		topic("verdicts", "how to read a verdict", fixed(helpVerdicts)),
		topic("log", "the switch log", fixed(helpLog)),
		topic("codes", "the codes of reasons and warnings", helpCodes),
	}
}
