package rehearsal_test

import (
	"bytes"
	"compress/gzip"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fairlobe/pipeline/table"
)

// Whatever form an experiment declares, the project's own readers give back every report that the invented world handed
// on, in its slot and with its figure, and refuse no row.
func TestEveryReportComesBack(t *testing.T) {
	columns := "columns = { time = \"when\", transmitter = \"who sent\", receiver = \"who heard\", receiver_locator = \"where\", band = \"band\", snr_db = \"level\" }\n"
	withTime := func(form string) string { return strings.Replace(aTable, `time = "when"`, form, 1) }
	for name, text := range map[string]string{
		"plain":                 base + aTable,
		"gzipped":               base + strings.Replace(aTable, "*.csv", "*.csv.gz", 1),
		"one file by name":      base + strings.Replace(aTable, "*.csv", "all.csv", 1),
		"semicolons":            base + aTable + "delimiter = \";\"\n",
		"tabulators":            base + aTable + "delimiter = \"\\t\"\n",
		"bars":                  base + aTable + "delimiter = \"|\"\n",
		"unix":                  base + aTable + "time_layout = \"unix\"\n",
		"unix_ms":               base + aTable + "time_layout = \"unix_ms\"\n",
		"own layout":            base + aTable + "time_layout = \"DD.MM.YYYY hh:mm:ss\"\n",
		"two columns":           base + withTime(`time = ["day", "clock"]`) + "time_layout = \"YYYY-MM-DD hh:mm:ss\"\n",
		"two columns, reversed": base + withTime(`time = ["clock", "day"]`) + "time_layout = \"hh:mm:ss DD/MM/YYYY\"\n",
		"within the slot":       base + aTable + "time_is = \"within slot\"\n",
		"end of the slot":       base + aTable + "time_is = \"slot end\"\n",
		"Hz":                    base + strings.Replace(aTable, `band = "band"`, `frequency_mhz = { column = "f", unit = "Hz" }`, 1),
		"kHz":                   base + strings.Replace(aTable, `band = "band"`, `frequency_mhz = { column = "f", unit = "kHz" }`, 1),
		"MHz":                   base + strings.Replace(aTable, `band = "band"`, `frequency_mhz = "f"`, 1),
		"all columns": base + strings.Replace(aTable, columns, `columns = { time = "t", transmitter = "a", transmitter_locator = "b", transmitter_position = ["c", "d"], receiver = "e", receiver_locator = "f", receiver_position = ["g", "h"], band = "i", frequency_mhz = "j", snr_db = "k", power_w = { column = "l", unit = "dBm" }, mode = "m", submode = "n", slot_s = "o" }
`, 1),
		"names that need quotes": base + strings.Replace(aTable, `receiver_locator = "where"`, `receiver_locator = "where, roughly; \"so\""`, 1),
		"no header":              base + strings.Replace(aTable, columns, "header = false\ncolumns = { time = 2, transmitter = 3, receiver = 7, receiver_locator = 1, band = 5, snr_db = 4 }\n", 1),
		"values for all rows":    base + strings.Replace(aTable, `band = "band"`, `band = { value = "20m" }, mode = { value = "FT8" }, slot_s = { value = 15 }`, 1),
		"listeners' logs":        base + "[[spots]]\nfiles = [\"spots/*.adi\"]\nformat = \"adif\"\nseen_from = \"receiver\"\n",
		"own log only":           base + "[[spots]]\nfiles = [\"log.adi.gz\"]\nformat = \"adif\"\nseen_from = \"me\"\n",
		"two collectors":         base + aTable + "[[spots]]\nfiles = [\"spots/*.adi\"]\nformat = \"adif\"\nseen_from = \"receiver\"\n",
		"odd slots":              replaced(t, base, `"even slots"`, `"odd slots"`) + aTable,
		"every slot":             replaced(t, base, `"even slots"`, `"every slot"`) + aTable,
		"7.5 s":                  replaced(t, base, `"FT8"`, `"FT4"`) + aTable + "time_layout = \"YYYYMMDD hhmmss\"\n",
		"7.5 s, rfc3339":         replaced(t, base, `"FT8"`, `"FT4"`) + aTable,
		"7.5 s, a log":           replaced(t, base, `"FT8"`, `"FT4"`) + "[[spots]]\nfiles = [\"*.adi\"]\nformat = \"adif\"\nseen_from = \"receiver\"\n",
		"120 s, no seconds": replaced(t, base, `"FT8"`, `"WSPR"`, `"even slots"`, `"every slot"`, "dwell_min = 5", "dwell_min = 20", "settle_min = 0.5", "settle_min = 2") +
			aTable + "time_layout = \"YYYY-MM-DD hh:mm\"\n",
		"one arm":       replaced(t, base, "[[arm]]\nname = \"high\"\n", "", `compare = ["high", "low"]`, `arms = ["low"]`, `kind = "level"`, "kind = \"directivity\"\nshape = \"one-sided\"") + aTable,
		"three arms":    replaced(t, base, "[schedule]", "[[arm]]\nname = \"in between\"\n[schedule]") + aTable,
		"mirrored":      replaced(t, base, "blocks = 6\n", "blocks = 6\npattern = \"mirrored\"\n") + aTable,
		"two bands":     replaced(t, base, `["20m"]`, `["20m", "40m"]`) + aTable,
		"no log":        replaced(t, base, "[log]\nswitches = \"log/switches.csv\"\n", "") + aTable,
		"hostile title": replaced(t, base, "A rehearsed trial", `</script>\" [[spots]] <EOR> ;'|é`) + aTable,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := rehearse(t, text, false, "none")
			rows, refused, _ := r.read(t)
			require.Empty(t, refused)
			back := map[string]int{}
			for _, x := range rows {
				require.NotContains(t, []string{"time without seconds", "time fits no slot", "slot in which the station did not send",
					"slot in which the station was sending", "outside the schedule", "between other stations", "band not in the schedule", "other mode", "no report in dB"},
					x.fate, "%+v", x)
				if x.direction == "sent" {
					back[key(x.Report)] = x.SNR
				}
			}
			sent := r.Passed(true)
			require.Greater(t, len(sent), 100, "the world must hand on something")
			want := map[string]int{}
			for _, x := range sent {
				want[key(x)] = x.SNR
			}
			require.Equal(t, want, back)
		})
	}
}

// The operator's own log gives both directions: the report received stands at our slot, the one given at theirs, and
// both come back as the world had them.
func TestOwnLogGivesBothDirections(t *testing.T) {
	r := rehearse(t, base+aTable+"[[spots]]\nfiles = [\"log.adi\"]\nformat = \"adif\"\nseen_from = \"me\"\n", false, "none")
	world := map[string]int{}
	for _, sent := range []bool{true, false} {
		for _, x := range r.Passed(sent) {
			world[key(x)] = x.SNR
		}
	}
	rows, refused, _ := r.read(t)
	require.Empty(t, refused)
	count := map[string]int{}
	for _, x := range rows {
		if x.file != "log.adi" {
			continue
		}
		count[x.direction]++
		require.Contains(t, []string{"used", "merged"}, x.fate)
		if snr, handedOn := world[key(x.Report)]; handedOn {
			require.Equal(t, snr, x.SNR)
		} else {
			require.Equal(t, "sent", x.direction, "the receiver decoded it and passed on another: %+v", x)
		}
	}
	require.Positive(t, count["sent"])
	require.Equal(t, count["sent"], count["received"], "a contact has two reports")
}

// A claim about what is heard puts all that is heard into the own log, or where there is none, into the collectors.
func TestHeardComesBackWhereAClaimAsksForIt(t *testing.T) {
	heard := replaced(t, base, `compare = ["high", "low"]`, "compare = [\"high\", \"low\"]\ndirection = \"received\"")
	log := "[[spots]]\nfiles = [\"log.adi\"]\nformat = \"adif\"\nseen_from = \"me\"\n"
	for name, text := range map[string]string{"own log": heard + aTable + log, "own log only": heard + log,
		"table only": heard + strings.Replace(aTable, "receiver_locator", "transmitter_locator = \"from\", receiver_locator", 1)} {
		t.Run(name, func(t *testing.T) {
			r := rehearse(t, text, false, "high +3 dB")
			want := map[string]int{}
			for _, x := range r.Passed(false) {
				want[key(x)] = x.SNR
			}
			require.Greater(t, len(want), 100)
			rows, refused, _ := r.read(t)
			require.Empty(t, refused)
			back := map[string]int{}
			for _, x := range rows {
				if x.direction == "received" {
					back[key(x.Report)] = x.SNR
				}
			}
			require.Equal(t, want, back)
		})
	}
}

// Background files tell who was listening in which dwell.
func TestBackgroundTellsWhoListened(t *testing.T) {
	for name, form := range map[string]string{
		"table": strings.Replace(aTable, "spots/*.csv", "others/*.csv", 1) + "role = \"background\"\n",
		"adif":  "[[spots]]\nfiles = [\"others/*.adi.gz\"]\nformat = \"adif\"\nseen_from = \"receiver\"\nrole = \"background\"\n",
	} {
		t.Run(name, func(t *testing.T) {
			r := rehearse(t, base+aTable+form, false, "none")
			_, refused, done := r.read(t)
			require.Empty(t, refused)
			rec, err := done.Table("background")
			require.NoError(t, err)
			defer rec.Release()
			back := map[string]bool{}
			for b := table.NewReader(rec); b.Next(); {
				back[b.Str("receiver")+" "+b.Time("start").UTC().Format(time.RFC3339)] = true
			}
			require.Greater(t, len(back), 50)
			require.Equal(t, r.Listeners(), back)
		})
	}
}

// A schedule that was drawn elsewhere is carried out as it stands.
func TestScheduleFile(t *testing.T) {
	drawn := rehearse(t, base+aTable, false, "none")
	text := replaced(t, base, `bands = ["20m"]
blocks = 6
dwell_min = 5
settle_min = 0.5
arm_change_min = 2
spot_interval_min = 5
sessions = [{ start = 2026-09-12T04:00:00Z, blocks = 3 }, { start = 2026-09-13T04:00:00Z, blocks = 3 }]`,
		`file = "order.csv"
order = "random"
settle_min = 0.5
spot_interval_min = 5`)
	r := fromFile(t, text+aTable, drawn.planned)
	require.Equal(t, drawn.planned, r.planned)
	rows, refused, _ := r.read(t)
	require.Empty(t, refused)
	require.Greater(t, len(rows), 100)
}

// ADIF 3.1.5, II.A: a data specifier tells the length of its data. The whole of a log is read by these lengths alone.
func TestADILengths(t *testing.T) {
	r := rehearse(t, base+"[[spots]]\nfiles = [\"log.adi.gz\"]\nformat = \"adif\"\nseen_from = \"me\"\n", true, "none")
	for _, f := range r.Files {
		if f.Name != "log.adi.gz" {
			continue
		}
		zip, err := gzip.NewReader(bytes.NewReader(f.Data))
		require.NoError(t, err)
		require.True(t, zip.ModTime.IsZero(), "a time would change the bytes")
		require.Empty(t, zip.Name)
		records, fields := specifiers(t, zip)
		require.Greater(t, records, 100)
		require.Equal(t, "3.1.5", fields["ADIF_VER"])
		require.Equal(t, "Q1RDG", fields["STATION_CALLSIGN"])
		return
	}
	t.Fatal("no log was written")
}
