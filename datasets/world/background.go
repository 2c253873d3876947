package world

import "math"

// overheard is a report of another transmitter on its way into the outcome.
type overheard struct {
	transmitter, receiver, slot, snr int32
}

// background gives what the stations report of each other: in a share of its slots each listening receiver tries one
// of those that send. The paths between them have the same median and window as the own station's; their fading is
// drawn anew for each report, for no verdict rests on it.
func (k *sky) background(stations []Station, does [][]activity) []overheard {
	if k.p.BackgroundShare == 0 {
		return nil
	}
	senders := k.senders(does)
	ups := make([]vector, len(stations))
	for i, s := range stations {
		ups[i] = frameOf(s.LatitudeDeg, s.LongitudeDeg).up
	}
	sd := math.Sqrt(float64(k.p.SlowSD*k.p.SlowSD) + float64(k.p.DriftSD*k.p.DriftSD) + float64(k.p.NoiseSD*k.p.NoiseSD))
	var all []overheard
	for r, receiver := range stations {
		random := k.stream("background", r)
		decoder, fade := k.decoderOf(random), k.fadingOf(r)
		for i := range k.slots {
			if does[r][i] != listening || random.Float64() >= k.p.BackgroundShare || len(senders[i]) == 0 {
				continue
			}
			t := int(senders[i][random.IntN(len(senders[i]))])
			distance := float64(earthKm * math.Acos(max(-1, min(1, ups[r].dot(ups[t])))))
			snr := k.band.MedianDB + k.p.PathDB + k.band.windowDB(distance) + k.common[i] + stations[t].PowerDB -
				receiver.NoiseDB + float64(sd*random.NormFloat64()) + fade.drawDB(random)
			if reported, ok := decoder.decode(snr); ok {
				all = append(all, overheard{int32(t), int32(r), int32(i), int32(reported)})
			}
		}
	}
	return all
}

// senders lists the stations that send, by slot.
func (k *sky) senders(does [][]activity) [][]int32 {
	total := 0
	for _, station := range does {
		for _, a := range station {
			if a == sending {
				total++
			}
		}
	}
	flat := make([]int32, 0, total)
	senders := make([][]int32, len(k.slots))
	for i := range k.slots {
		from := len(flat)
		for number := range does {
			if does[number][i] == sending {
				flat = append(flat, int32(number))
			}
		}
		senders[i] = flat[from:]
	}
	return senders
}
