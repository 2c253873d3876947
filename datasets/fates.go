package datasets

// A drop that was entered after the first look at the data is marked apart, so that the verdicts can be found with and
// without it.
const (
	// ReasonDroppedLate begins the reason, in table dwells, of a block that would count but for such drops.
	ReasonDroppedLate = "dropped after the first look"
	// FateDroppedLate is the fate, in table spots, of a row that would be used but for such drops.
	FateDroppedLate = "block dropped after the first look"
)
