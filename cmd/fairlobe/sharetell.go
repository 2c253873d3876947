package main

import (
	"fmt"
	"path/filepath"
	"strings"

	"fairlobe/experiments"
)

// tell says what left the house, in which form, and what stayed.
func (s *sharing) tell(std streams, size int, identity string) {
	w := &wrapped{std: std}
	fmt.Fprintf(std.out, "%s\n\n", s.exp.Title)
	w.pair("bundle", fmt.Sprintf("%s, %s, %s", s.target, sizeWords(size), several(len(s.files), "file")))
	w.pair("identity", identity)
	mine := "of your key, " + s.key.path
	if s.key.made {
		mine += ", which was drawn just now: keep it, it never leaves the house"
	}
	w.pair("operator", s.key.Operator()+" ("+mine+")")
	w.pair("licence", s.licenceWords())
	if s.line != nil {
		w.pair("looks", fmt.Sprintf("this was look %d at the data, and stands in %s", s.look.n, looksPath(s.exp)))
	}

	s.tellLeaves(w)
	w.head("Changed on the way")
	s.tellChanged(w)
	w.head("Stays home")
	s.tellStays(w)
	w.head("Good to know")
	s.tellLimits(w)
	fmt.Fprintf(std.out, "\nAnother operator goes on with:\n    fairlobe receive %s\n", shellWord(filepath.Base(s.target)))
}

func (s *sharing) licenceWords() string {
	if s.licence == nil {
		return "none is named, so others may read it and not much else; share it again with --licence CC-BY-4.0 to let them use it if they name you"
	}
	if s.licence.Title != "" {
		return s.licence.ID + ", " + s.licence.Title
	}
	return s.licence.ID + ", as you wrote it: fairlobe does not know it, so see that it stands so in the SPDX list"
}

func (s *sharing) tellLeaves(w *wrapped) {
	w.head("Leaves the house")
	w.item(fmt.Sprintf("the experiment: question, %s, schedule, %s", several(len(s.exp.Arms), "arm"), several(len(s.exp.Claims), "claim")))
	if s.seal != nil {
		w.item("the seal, with the digest and the time that it has here")
	} else {
		w.item("no seal: there is none")
	}
	if s.origin != nil {
		w.item(fmt.Sprintf("what it repeats, %q, and in what it differs: a %s repeat", s.origin.Title, s.origin.Kind))
	}
	if s.opt.designOnly {
		w.item("the planned dwells, and nothing else: --design-only")
		return
	}
	if s.handed.Read == 0 {
		w.item("no reports yet: the tables of receptions are empty")
	} else {
		reports, stations := int(s.handed.Rows("receptions")), int(s.handed.Rows("stations"))
		w.item(fmt.Sprintf("%s of %s, with exact times and values", several(reports, "report"), several(stations, "station")))
	}
	w.item(fmt.Sprintf("%s: what the verdicts rest on and what they show", several(s.handed.Tables(), "table")))
	w.item("verdicts.json, and report.html made anew from the tables that leave")
	if s.log != "" {
		w.item("the switch log, with empty notes")
	}
	w.item("the ledger of looks; sizes and SHA-256 of the files that were read, as input-1 and so on")
}

func (s *sharing) tellChanged(w *wrapped) {
	at := s.exp.Station.Locator
	if short := experiments.CutLocator(at); short != at {
		w.item(fmt.Sprintf("your locator %s: cut to %s", at, short))
	}
	if s.opt.designOnly {
		return
	}
	h := s.handed.Hidden
	if len(h.Calls) > 0 {
		w.item(several(len(h.Calls), "call sign") + " of stations: hashed with your key")
	}
	w.item("bearings of stations: rounded to 1 degree; distances: to 10 km, as the judge uses them")
	w.item("heights of the sun and take-off angles: calculated anew from what leaves")
	if len(h.Sweeps) > 0 {
		w.item(several(len(h.Sweeps), "name") + " of sweeps: replaced by sweep-1 and so on")
	}
}

func (s *sharing) tellStays(w *wrapped) {
	own := "your call: left out, " + experiments.PrivateCall + " stands for it"
	if n := len(s.exp.Station.Also); n > 0 {
		own += ", and " + several(n, "other spelling")
	}
	w.item(own)
	if s.exp.Control != nil {
		w.item("the call of the control station: left out, " + experiments.PrivateControl + " stands for it; its locator is cut")
	}
	if !s.opt.designOnly {
		w.item(fmt.Sprintf("%s with %s, and %s: stay home, with the tables spots and quarantine",
			several(len(s.spots), "spot file"), several(s.handed.Read, "row"), several(len(s.sweeps), "sweep file")))
		if n := len(s.handed.Hidden.Notes); n > 0 {
			w.item(several(n, "note") + " of the log: left out")
		}
		if n := len(s.handed.Hidden.Locators); n > 0 {
			w.item(several(n, "locator") + " of stations, latitudes and longitudes: left out")
		}
	}
	w.item("names of files and folders, comments of the experiment file, and how the spot files are read")
	w.item("your key")
}

func (s *sharing) tellLimits(w *wrapped) {
	if s.seal != nil {
		w.item("the seal's digest was made over your call and full locator: who guesses both can confirm them")
	}
	w.item("title, question, names of arms and claims, and texts in [fixed] leave as you wrote them")
	if s.opt.designOnly {
		return
	}
	w.item("times and reports stay exact, for the verdicts rest on them: somebody who has the same reports from elsewhere can tell who you are")
	w.item("bearings and distances of many stations fit one place only: somebody who finds out who they are, or has a list of stations " +
		"and their places to try, can work out yours to about 1 km")
}

// several writes a number with its noun.
func several(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// sizeWords writes a number of bytes for people.
func sizeWords(n int) string {
	if n >= 1_000_000 {
		return fmt.Sprintf("%.1f MB", float64(n)/1e6)
	}
	return fmt.Sprintf("%.0f kB", float64(n)/1e3)
}

// wrapped writes lists for a screen of 80 columns.
type wrapped struct{ std streams }

func (w *wrapped) head(text string) { fmt.Fprintf(w.std.out, "\n%s\n", text) }

func (w *wrapped) item(text string) { say(w.std.out, "  - ", "    ", text) }

func (w *wrapped) pair(name, text string) {
	say(w.std.out, fmt.Sprintf("  %-10s", name), strings.Repeat(" ", 12), text)
}
