package paths

import (
	"math"
	"time"

	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline/table"
)

// row is one row of table paths in the making.
type row struct {
	pair
	line
	light
	middle time.Time
}

func encode(rows []row) arrow.Record {
	b := table.NewBuilder(datasets.Paths())
	for _, r := range rows {
		b.Append(r.session, r.band, r.number, r.station, r.middle,
			round(r.ownDeg), round(r.midpointDeg), round(r.farDeg), r.class,
			r.e.fewest, round(r.e.takeoffDeg), round(r.e.moreTakeoffDeg),
			r.f2Low.fewest, round(r.f2Low.takeoffDeg), round(r.f2Low.moreTakeoffDeg),
			r.f2High.fewest, round(r.f2High.takeoffDeg), round(r.f2High.moreTakeoffDeg),
			round(r.longPathKm), math.Mod(round(r.longPathBearingDeg), 360), r.longPathPlausible)
	}
	return b.Record()
}

// round rounds to 4 decimals; zero has no sign.
func round(v float64) float64 { return math.Round(v*1e4)/1e4 + 0 }
