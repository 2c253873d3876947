package handover

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"

	"fairlobe/stages/judge"
)

// Standing is what the judge and the report need to know and can't tell from tables, accounts or the experiment: what
// became of the seal, and how often the data were looked at.
type Standing struct {
	Format int `json:"format"`
	// Name is the name of the bundle and of its experiment.
	Name string `json:"name"`
	// Tool is the name and version of the program that made the report.
	Tool string `json:"tool"`
	// Seal is the seal's digest as it was made, "" without a seal; SealState says whether it still fits, SealedMs is
	// when it was made, Unix time in ms, 0 without one.
	Seal      string          `json:"seal"`
	SealState judge.SealState `json:"seal_state"`
	SealedMs  int64           `json:"sealed_ms"`
	// Added are the names of the claims that the seal does not know.
	Added []string `json:"added"`
	// Looks counts the runs over different data, this one included.
	Looks int `json:"looks"`
}

// standingFormat is the version of the file.
const standingFormat = 1

// Encode gives the file standing.json.
func (s Standing) Encode() ([]byte, error) {
	s.Format = standingFormat
	s.Added = append([]string{}, s.Added...)
	return encode(s)
}

// ReadStanding reads the file standing.json.
func ReadStanding(text []byte) (Standing, error) {
	var s Standing
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&s); err != nil {
		return s, err
	}
	states := []judge.SealState{judge.SealNone, judge.SealSame, judge.SealChanged, judge.SealOrder}
	switch {
	case s.Format != standingFormat:
		return s, fmt.Errorf("its format is %d, and this version reads %d", s.Format, standingFormat)
	case !slices.Contains(states, s.SealState):
		return s, fmt.Errorf("seal_state = %q is not a state of a seal", s.SealState)
	case s.Looks < 1:
		return s, fmt.Errorf("looks = %d: there is one at least", s.Looks)
	case (s.Seal == "") != (s.SealState == judge.SealNone), (s.SealedMs == 0) != (s.SealState == judge.SealNone):
		return s, fmt.Errorf("seal, seal_state and sealed_ms do not fit together")
	}
	return s, nil
}

// encode writes JSON as people read it: indented, with < and & as they are, a line feed at the end.
func encode(v any) ([]byte, error) {
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(v); err != nil {
		return nil, fmt.Errorf("writing JSON: %w", err)
	}
	return out.Bytes(), nil
}
