package synth

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

const (
	contactsPerDwell = 2
	ownLogClashes    = 6 // contacts whose report differs by 1 dB from the one passed on
	theirAdvantage   = 6 // dB: what the other stations' greater power is worth on average
)

// exchange is one record of the operator's own log: one report, stamped with the slot in which it was heard.
type exchange struct {
	when       time.Time
	station    Station
	band       Band
	sent, rcvd string // reports given and received; empty: none
}

// ownLog is the operator's log in ADIF 3.1.5, ADI form. A contact has two records: the report received, on our
// slot, and the one given, on theirs, which is the next; so each report stands at the slot that it speaks of.
func (t trip) ownLog() []byte {
	exchanges := t.exchanges(t.stream("files/own log"))
	slices.SortStableFunc(exchanges, func(a, b exchange) int { return a.when.Compare(b.when) })
	var out bytes.Buffer
	out.WriteString("Invented log of an invented station.\n")
	out.WriteString(adi("ADIF_VER", "3.1.5") + adi("CREATED_TIMESTAMP", "20260913 121500") + "<EOH>\n")
	for i, c := range exchanges {
		day := c.when.Format("20060102")
		band := c.band.Name
		switch i { // two slips of the pen
		case 40:
			day = "20260931"
		case 90:
			band = "11x"
		}
		out.WriteString(adi("CALL", c.station.Call) + adi("QSO_DATE", day) + adi("TIME_ON", c.when.Format("150405")) +
			adi("BAND", band) + adi("FREQ", fmt.Sprintf("%.4f", float64(c.band.Hz)/1e6)) + adi("MODE", "FT8"))
		if len(c.station.Locator) >= 4 {
			out.WriteString(adi("GRIDSQUARE", c.station.Locator[:4]))
		}
		if c.sent != "" {
			out.WriteString(adi("RST_SENT", c.sent))
		}
		if c.rcvd != "" {
			out.WriteString(adi("RST_RCVD", c.rcvd))
		}
		out.WriteString(adi("TX_PWR", "4") + adi("STATION_CALLSIGN", "Q1RDG") + adi("MY_GRIDSQUARE", "MN83kp") + "<EOR>\n")
	}
	return out.Bytes()
}

func adi(name, value string) string { return fmt.Sprintf("<%s:%d>%s ", name, len(value), value) }

// exchanges picks stations that decoded us in each dwell, whatever they heard. Half of the contacts fall into slots
// that the receiver passed on too, so the same report stands in both kinds of file.
func (t trip) exchanges(random *rand.Rand) []exchange {
	var all []exchange
	for number := range t.dwells {
		var decoded, passed []Spot
		for _, s := range t.decodes {
			if s.Dwell != number || !t.dwells[number].usable(s.Slot) {
				continue
			}
			decoded = append(decoded, s)
			if s.Passed {
				passed = append(passed, s)
			}
		}
		for i, pool := range [contactsPerDwell][]Spot{passed, decoded} {
			if len(pool) == 0 {
				continue
			}
			s := pool[random.IntN(len(pool))]
			if i == 0 && number%(len(t.dwells)/ownLogClashes) == 0 {
				s.SNR++
			}
			all = append(all, t.contact(random, s)...)
		}
	}
	return all
}

func (t trip) contact(random *rand.Rand, s Spot) []exchange {
	station, band := t.stations[s.Station], t.band(t.dwells[s.Dwell].Band)
	return []exchange{
		{when: s.Slot, station: station, band: band, rcvd: rst(float64(s.SNR))},
		{when: s.Slot.Add(t.Slot), station: station, band: band, sent: t.given(random, s)},
	}
}

// given is the report on the other station: the same path, without its site's noise, with its own power.
func (t trip) given(random *rand.Rand, s Spot) string {
	return rst(math.Max(-24, float64(s.SNR)-t.stations[s.Station].SiteDB+theirAdvantage+float64(3*random.NormFloat64())))
}

// rst writes a report as the mode does: sign and two digits.
func rst(db float64) string { return fmt.Sprintf("%+03d", int(math.Round(db))) }
