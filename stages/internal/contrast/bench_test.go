package contrast

import (
	"math"
	"testing"
)

func busyTrial() *Trial {
	f := field{stations: 60, blocks: 16, slots: 12, meanDB: -12, effect: func(s Station) float64 { return 2 * math.Cos(s.AzimuthRad) }}
	return f.trial(1)
}

func BenchmarkLevel(b *testing.B) {
	trial := busyTrial()
	b.ReportAllocs()
	for b.Loop() {
		trial.Level()
	}
}

func BenchmarkDirectivity(b *testing.B) {
	trial := busyTrial()
	for _, shape := range []Shape{OneSided, TwoSided, Any} {
		b.Run(shape.String(), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				trial.Directivity(shape)
			}
		})
	}
}

func BenchmarkFrontToBack(b *testing.B) {
	trial := busyTrial()
	b.ReportAllocs()
	for b.Loop() {
		trial.FrontToBack(0)
	}
}

func BenchmarkSeen(b *testing.B) {
	trial := busyTrial()
	b.ReportAllocs()
	for b.Loop() {
		trial.Seen()
	}
}

func BenchmarkToward(b *testing.B) {
	d := busyTrial().Directivity(Any)
	b.ReportAllocs()
	for b.Loop() {
		sweepRound(func(az float64) { d.Toward(az) })
	}
}
