package trials

import (
	"context"
	"testing"
)

// One trial on one band with 60 stations and 16 blocks, by kind of claim.
func BenchmarkTrial(b *testing.B) {
	for _, kind := range []string{"level", "heard_by", "directivity"} {
		b.Run(kind, func(b *testing.B) {
			sc, err := settings(b, kind).prepare()
			if err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			for n := range b.N {
				if _, err := sc.one(context.Background(), n); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
