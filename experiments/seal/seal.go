// Package seal fixes, before any data exist, all that decides a verdict.
//
// Model: the digest is SHA-256 over the canonical JSON of
//
//	{"experiment": <the decoded experiment>, "order": [{"arms": [..], "band": "..", "block": n, "session": n}, ..]}
//
// in the form of RFC 8785, so that anyone can compute it again from the file NAME.seal.json. The experiment
// is the caller's: decoded, with defaults filled in, without title, data, file names and delimiters. The
// order has one entry for each session, block and band, sorted in this way, the arms by position. Clock
// times are no part of it: a trial that starts an hour late is the same trial.
//
// What the package can't do: prove when the seal was made. SealedAt is a note. Only a line that someone else
// received before the start proves the date.
//
// Sources: Rundgren, Jordan and Erdtman, JSON Canonicalization Scheme, RFC 8785, 2020; NIST, Secure Hash
// Standard, FIPS 180-4, 2015.
package seal

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/gowebpki/jcs"

	"fairlobe/stages/schedule"
)

// Format is the version of the file.
const Format = 1

// Seal is the content of NAME.seal.json.
type Seal struct {
	Format int `json:"format"`
	// Name is the experiment's name; Write fills it in from the file's. It is not sealed.
	Name     string    `json:"name"`
	SealedAt time.Time `json:"sealed_at"` // UTC, whole seconds
	Digest   string    `json:"digest"`    // "sha256:" and 64 hexadecimal digits
	// Seed stands as text: JSON numbers of other programs end at 2^53.
	Seed uint64 `json:"seed,string"`
	// Content is the experiment in the form of RFC 8785.
	Content json.RawMessage `json:"content"`
	Order   []Block         `json:"order"`
}

// Block is the order of one session's block on one band.
type Block struct {
	Session int      `json:"session"`
	Band    string   `json:"band"`
	Block   int      `json:"block"`
	Arms    []string `json:"arms"` // by position
}

// Make seals an experiment, given as JSON, and the order of its dwells.
func Make(canonical []byte, dwells []schedule.Dwell, seed uint64, at time.Time) (Seal, error) {
	content, err := jcs.Transform(canonical)
	if err != nil {
		return Seal{}, fmt.Errorf("sealing: the experiment as JSON: %w", err)
	}
	s := Seal{
		Format: Format, SealedAt: at.UTC().Truncate(time.Second), Seed: seed, Content: content, Order: order(dwells),
	}
	if s.Digest, err = digest(content, s.Order); err != nil {
		return Seal{}, fmt.Errorf("sealing: %w", err)
	}
	return s, nil
}

func order(dwells []schedule.Dwell) []Block {
	out := []Block{}
	for _, group := range schedule.Blocks(dwells) {
		inPosition := slices.Clone(group)
		slices.SortStableFunc(inPosition, func(a, b int) int { return cmp.Compare(dwells[a].Position, dwells[b].Position) })
		d := dwells[group[0]]
		b := Block{Session: d.Session, Band: d.Band, Block: d.Block}
		for _, i := range inPosition {
			b.Arms = append(b.Arms, dwells[i].Arm)
		}
		out = append(out, b)
	}
	slices.SortFunc(out, func(a, b Block) int {
		return cmp.Or(cmp.Compare(a.Session, b.Session), cmp.Compare(a.Block, b.Block), cmp.Compare(a.Band, b.Band))
	})
	return out
}

func digest(content json.RawMessage, order []Block) (string, error) {
	text, err := encode(map[string]any{"experiment": content, "order": order}, "")
	if err != nil {
		return "", err
	}
	canonical, err := jcs.Transform(text)
	if err != nil {
		return "", fmt.Errorf("canonical JSON: %w", err)
	}
	return fmt.Sprintf("sha256:%x", sha256.Sum256(canonical)), nil
}

// encode leaves <, > and & as they are, so that the file reads well.
func encode(v any, indent string) ([]byte, error) {
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", indent)
	if err := enc.Encode(v); err != nil {
		return nil, fmt.Errorf("writing JSON: %w", err)
	}
	return out.Bytes(), nil
}

// Line is what to send to someone before the start.
func (s Seal) Line() string {
	of := ""
	if s.Name != "" {
		of = " of " + s.Name
	}
	blocks := "blocks"
	if len(s.Order) == 1 {
		blocks = "block"
	}
	return fmt.Sprintf("fairlobe seal %s%s, %d %s, %s", s.Digest, of, len(s.Order), blocks, s.SealedAt.UTC().Format(time.RFC3339))
}
