package field

import (
	"fmt"
	"hash/fnv"
	"math/bits"
	"math/rand/v2"
	"slices"
	"strings"
)

// Code is the name that a blind operator is shown for an arm.
type Code struct{ Shown, Arm string }

// Blind draws coded names for the arms, X1, X2 and so on, in an order drawn from the seed by a stream of its
// own, so that the codes tell nothing of the schedule. The list is sorted by code. Arms are as the
// experiment file lists them. The draw is that of package schedule: a shuffle from the end, each place by
// the high word of u*(i+1), too low low words passed over.
func Blind(arms []string, seed uint64) []Code {
	h := fnv.New64a()
	h.Write([]byte("blind"))
	source := rand.NewPCG(seed, h.Sum64())
	order := slices.Clone(arms)
	for i := len(order) - 1; i > 0; i-- {
		j := below(source, uint64(i)+1)
		order[i], order[j] = order[j], order[i]
	}
	letter := codeLetter(arms)
	codes := make([]Code, len(order))
	for i, arm := range order {
		codes[i] = Code{Shown: fmt.Sprintf("%s%d", letter, i+1), Arm: arm}
	}
	return codes
}

func below(source *rand.PCG, n uint64) uint64 {
	for {
		if hi, lo := bits.Mul64(source.Uint64(), n); lo >= -n%n {
			return hi
		}
	}
}

// codeLetter is a letter that no arm's name begins with, if there is one among these.
func codeLetter(arms []string) string {
	for _, letter := range []string{"X", "Z", "Y", "W", "V"} {
		if !slices.ContainsFunc(arms, func(arm string) bool { return strings.HasPrefix(strings.ToUpper(arm), letter) }) {
			return letter
		}
	}
	return "CODE-"
}
