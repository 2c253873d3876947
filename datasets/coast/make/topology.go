package main

import (
	"encoding/json"
	"errors"
	"fmt"

	"fairlobe/datasets/coast"
)

// topology is what is needed of a TopoJSON file with quantised arcs (The TopoJSON Format Specification, M. Bostock and
// C. Metcalf, 2013, sections 2.1 to 2.2).
type topology struct {
	Type      string
	Transform *struct{ Scale, Translate [2]float64 }
	Objects   map[string]struct{ Geometries []geometry }
	Arcs      [][][2]int64 // each point but the first as its difference from the one before
}

// geometry is a multipolygon: polygons of rings of numbers of arcs. The arc of a negative number n is arc ^n backwards.
type geometry struct {
	Type string
	Arcs [][][]int
}

// readLand gives every ring of the object "land", holes too, in degrees.
func readLand(data []byte) ([][]coast.Point, error) {
	var t topology
	if err := json.Unmarshal(data, &t); err != nil {
		return nil, fmt.Errorf("decoding JSON: %w", err)
	}
	if t.Type != "Topology" || t.Transform == nil {
		return nil, errors.New("it is no TopoJSON file with a transform")
	}
	land, ok := t.Objects["land"]
	if !ok {
		return nil, errors.New(`it has no object "land"`)
	}
	var out [][]coast.Point
	for _, g := range land.Geometries {
		if g.Type != "MultiPolygon" {
			return nil, fmt.Errorf("a geometry is a %s, not a MultiPolygon", g.Type)
		}
		for _, polygon := range g.Arcs {
			for _, arcs := range polygon {
				ring, err := t.ring(arcs)
				if err != nil {
					return nil, fmt.Errorf("ring %d: %w", len(out)+1, err)
				}
				out = append(out, ring)
			}
		}
	}
	return out, nil
}

// ring joins arcs; the first point of each arc repeats the last one of the arc before it.
func (t *topology) ring(arcs []int) ([]coast.Point, error) {
	var out []coast.Point
	for _, n := range arcs {
		arc, err := t.arc(n)
		if err != nil {
			return nil, err
		}
		if len(out) > 0 {
			if out[len(out)-1] != arc[0] {
				return nil, fmt.Errorf("arc %d does not begin where the one before it ends", n)
			}
			arc = arc[1:]
		}
		out = append(out, arc...)
	}
	if len(out) < 4 || out[0] != out[len(out)-1] {
		return nil, errors.New("it is not closed")
	}
	return out, nil
}

func (t *topology) arc(n int) ([]coast.Point, error) {
	at := n
	if n < 0 {
		at = ^n
	}
	if at >= len(t.Arcs) || len(t.Arcs[at]) == 0 {
		return nil, fmt.Errorf("there is no arc %d, or it is empty", at)
	}
	steps := t.Arcs[at]
	out := make([]coast.Point, len(steps))
	var lon, lat int64
	for i, s := range steps {
		lon += s[0]
		lat += s[1]
		place := i
		if n < 0 {
			place = len(steps) - 1 - i
		}
		out[place] = t.point(lon, lat)
	}
	return out, nil
}

func (t *topology) point(lon, lat int64) coast.Point {
	scale, translate := t.Transform.Scale, t.Transform.Translate
	return coast.Point{
		LatDeg: float64(float64(lat)*scale[1]) + translate[1],
		LonDeg: float64(float64(lon)*scale[0]) + translate[0],
	}
}
