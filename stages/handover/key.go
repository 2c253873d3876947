package handover

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"strings"

	"fairlobe/stages/internal/station"
)

// Key is the operator's secret. It never leaves the house: with it the hashes of call signs could be undone by trying all
// calls, without it they can't.
//
// Source: Krawczyk, Bellare and Canetti, HMAC: Keyed-Hashing for Message Authentication, RFC 2104, 1997, with SHA-256.
type Key [32]byte

// NewKey draws a key from the system.
func NewKey() Key {
	var k Key
	rand.Read(k[:]) // never fails since Go 1.24
	return k
}

// ParseKey reads a key as Text writes it; blanks around it do not count.
func ParseKey(text []byte) (Key, error) {
	var k Key
	raw, err := hex.DecodeString(strings.TrimSpace(string(text)))
	if err != nil || len(raw) != len(k) {
		return k, errors.New("it does not hold 64 hexadecimal digits")
	}
	copy(k[:], raw)
	return k, nil
}

// Text is the content of a key file.
func (k Key) Text() []byte { return []byte(hex.EncodeToString(k[:]) + "\n") }

// Operator is the same for all bundles of one key, and tells nothing else: 16 hexadecimal digits.
func (k Key) Operator() string { return hex.EncodeToString(mac(k[:], "operator"))[:16] }

// stations gives the key of the hashes of one experiment: the same station has other hashes in other experiments.
func (k Key) stations(seedAndName string) []byte { return mac(k[:], "stations "+seedAndName) }

// hashCall gives the hash of a call, with the suffix that says that the station is on the move.
func hashCall(key []byte, call string) string {
	return hex.EncodeToString(mac(key, call))[:12] + station.OnTheMove(call)
}

func mac(key []byte, text string) []byte {
	h := hmac.New(sha256.New, key)
	h.Write([]byte(text))
	return h.Sum(nil)
}
