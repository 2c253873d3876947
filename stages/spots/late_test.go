package spots

import (
	"testing"

	"github.com/stretchr/testify/require"

	"fairlobe/datasets"
	"fairlobe/pipeline/table"
)

// The rows of a block that only late drops take out are merged among themselves, and are out of scope.
func TestRowsOfABlockThatWasDroppedLate(t *testing.T) {
	b := table.NewBuilder(datasets.Dwells())
	b.Append(1, "20m", 1, 1, "low", 1, at("04:00:00"), at("04:00:30"), at("04:06:00"), 10, true, nil, 0.0, true)
	b.Append(1, "20m", 2, 1, "low", 1, at("04:10:00"), at("04:11:30"), at("04:16:00"), 0, false, datasets.ReasonDroppedLate+": rain", 0.0, true)
	b.Append(1, "20m", 3, 1, "low", 1, at("04:20:00"), at("04:20:30"), at("04:26:00"), 0, false, "dropped: rain", 0.0, true)
	better := one(4, "04:12:00")
	better.snrDB = -8
	got, err := placeIn(t, params(), b.Record(), file{name: "a", rows: []row{one(1, "04:01:00"), one(2, "04:11:00"), one(3, "04:12:00"), better, one(5, "04:21:00")}})
	require.NoError(t, err)
	require.Equal(t, map[int]string{1: "used", 2: "within the settle time", 3: "merged", 4: datasets.FateDroppedLate, 5: "block does not count"}, got.fates())
	require.Equal(t, 1, got.intake.Used)
	require.Equal(t, 1, got.intake.Merged)
	require.Equal(t, 3, got.intake.OutOfScope)
	require.Equal(t, 1, got.intake.Reasons[datasets.FateDroppedLate])
}
