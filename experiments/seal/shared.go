package seal

import (
	"fmt"

	"github.com/gowebpki/jcs"

	"fairlobe/stages/schedule"
)

// Shared is a seal as it is handed over: its content has the private form. Digest and SealedAt are those of the seal, so the
// line that somebody was sent before the start can be held against it; SharedDigest is made of the content and order that
// stand here, in the way in which a seal's own digest is.
type Shared struct {
	Seal
	SharedDigest string `json:"shared_digest"`
}

// Share gives a seal with its content in another form, as JSON.
func Share(s Seal, content []byte) (Shared, error) {
	canonical, err := jcs.Transform(content)
	if err != nil {
		return Shared{}, fmt.Errorf("sharing the seal: its content as JSON: %w", err)
	}
	s.Content = canonical
	out := Shared{Seal: s}
	if out.SharedDigest, err = digest(s.Content, s.Order); err != nil {
		return Shared{}, fmt.Errorf("sharing the seal: %w", err)
	}
	return out, nil
}

// Encode gives the file seal.json.
func (s Shared) Encode() ([]byte, error) { return encode(s, "  ") }

// ReadShared reads the file seal.json and checks that its shared digest is that of its content.
func ReadShared(text []byte) (Shared, error) {
	var s Shared
	if err := decode(text, &s, &s.Seal); err != nil {
		return s, err
	}
	again, err := Share(s.Seal, s.Content)
	if err != nil {
		return s, err
	}
	if again.SharedDigest != s.SharedDigest {
		return s, fmt.Errorf("its content has the digest %s, and it says %s", again.SharedDigest, s.SharedDigest)
	}
	again.SealedAt = s.SealedAt.UTC()
	return again, nil
}

// Compare holds an experiment in its private form against the seal, as [Compare] does.
func (s Shared) Compare(canonical []byte, dwells []schedule.Dwell) (same, orderSame bool, diff []string) {
	own := s.Seal
	own.Digest = s.SharedDigest
	return Compare(own, canonical, dwells)
}
