// Package datasets holds the form of every table that fairlobe makes, the JSON Schema of verdicts.json, and
// the built-in demonstration data.
//
// Each field carries its unit in the field metadata ("unit", absent where there is none) and a comment
// ("comment"); the table's sort key stands in the schema metadata ("sort"). Times are timestamp[us, UTC]. A
// null means "does not exist" or "not known", as the comment says; it never means zero.
//
// The key of everything that is counted or judged is (session, band, block, arm, direction, station), where
// block counts from 1 within session and band, and station is the number given in table stations.
package datasets

import (
	_ "embed"

	"github.com/apache/arrow/go/v15/arrow"
)

// VerdictsSchema is the JSON Schema (draft 2020-12) of verdicts.json.
//
//go:embed verdicts.schema.json
var VerdictsSchema []byte

// PooledSchema is the JSON Schema (draft 2020-12) of pooled.json.
//
//go:embed pooled.schema.json
var PooledSchema []byte

// Time is the type of every time column.
var Time = &arrow.TimestampType{Unit: arrow.Microsecond, TimeZone: "UTC"}

type column struct {
	name     string
	kind     arrow.DataType
	unit     string
	nullable bool
	comment  string
}

var (
	text    = arrow.BinaryTypes.String
	integer = arrow.PrimitiveTypes.Int64
	number  = arrow.PrimitiveTypes.Float64
	truth   = arrow.FixedWidthTypes.Boolean
)

var key = []column{
	{"session", integer, "", false, "number of the outing, from 1"},
	{"band", text, "", false, "band name, such as 20m"},
	{"block", integer, "", false, "number of the block within session and band, from 1"},
	{"arm", text, "", false, "the arm as scheduled"},
	{"direction", text, "", false, "sent: the station heard us; received: we heard the station"},
	{"station", integer, "", false, "number of the station in table stations"},
}

func schema(name, sort string, groups ...[]column) *arrow.Schema {
	var fields []arrow.Field
	for _, group := range groups {
		for _, c := range group {
			meta := map[string]string{"comment": c.comment}
			if c.unit != "" {
				meta["unit"] = c.unit
			}
			fields = append(fields, arrow.Field{Name: c.name, Type: c.kind, Nullable: c.nullable, Metadata: arrow.MetadataFrom(meta)})
		}
	}
	meta := arrow.MetadataFrom(map[string]string{"table": name, "sort": sort, "version": "1"})
	return arrow.NewSchema(fields, &meta)
}

// Dwells: one row for each scheduled dwell, with its real times and whether it counts.
func Dwells() *arrow.Schema {
	return schema("dwells", "start,session,band,block,position", []column{
		{"session", integer, "", false, "number of the outing, from 1"},
		{"band", text, "", false, "band name, such as 20m"},
		{"block", integer, "", false, "number of the block within session and band, from 1"},
		{"position", integer, "", false, "place of the dwell in its block, from 1"},
		{"arm", text, "", false, "the arm as scheduled"},
		{"erection", integer, "", false, "number of the arm's putting-up"},
		{"start", Time, "", false, "first moment of the dwell"},
		{"settle_end", Time, "", false, "slots that begin earlier do not count"},
		{"end", Time, "", false, "end of the dwell, exclusive"},
		{"slots", integer, "", false, "own slots that count"},
		{"kept", truth, "", false, "whether the block counts"},
		{"reason", text, "", true, "why the block does not count; null if it does"},
		{"late_s", number, "s", false, "how late the change was, by the log"},
		{"confirmed", truth, "", false, "whether the log confirms the change"},
	})
}

// Fates of a row of table spots that lies within the trial. Any other text is the reason why a row is out of scope.
const (
	FateUsed   = "used"
	FateMerged = "merged"
)

// Spots: every row of a trial source that could be read, one per direction.
func Spots() *arrow.Schema {
	return schema("spots", "time,transmitter,receiver,band,snr_db,source,line", []column{
		{"source", text, "", false, "file, below the data folder"},
		{"line", integer, "", false, "line on which the row or record begins"},
		{"direction", text, "", false, "sent, received, or other: between two other stations"},
		{"time", Time, "", false, "time as it stands in the file, in UTC"},
		{"slot", Time, "", true, "start of the transmit slot; null if the time fits none"},
		{"transmitter", text, "", false, "call of the transmitting station"},
		{"receiver", text, "", false, "call of the receiving station"},
		{"locator", text, "", true, "locator of the far station as written; null if none"},
		{"latitude", number, "deg", true, "latitude of the far station, if the file gives a position"},
		{"longitude", number, "deg", true, "longitude of the far station, if the file gives a position"},
		{"band", text, "", true, "band; null if neither band nor frequency is known"},
		{"frequency_mhz", number, "MHz", true, "frequency; null if not told"},
		{"snr_db", number, "dB", true, "signal-to-noise ratio as reported, in 2500 Hz; null if the row holds no report in dB"},
		{"power_w", number, "W", true, "power of the transmitting station, if the row tells it"},
		{"mode", text, "", true, "mode; null if not told"},
		{"submode", text, "", true, "submode; null if none"},
		{"session", integer, "", true, "session of the dwell that holds the slot; null if none does"},
		{"block", integer, "", true, "block of that dwell"},
		{"position", integer, "", true, "position of that dwell in its block"},
		{"arm", text, "", true, "arm of that dwell"},
		{"fate", text, "", false, "used, merged, or the reason why the row is out of scope"},
	})
}

// Stations: the far ends that the receptions of the trial speak of.
func Stations() *arrow.Schema {
	return schema("stations", "number", []column{
		{"number", integer, "", false, "from 0, by first trial slot, then distance, bearing, call"},
		{"call", text, "", false, "call with its suffix"},
		{"place", text, "", false, "what tells two places of one call apart: the locator or position; empty if unknown"},
		{"locator", text, "", true, "longest locator that contains the others; null if none"},
		{"latitude", number, "deg", true, "centre of the locator, or the position"},
		{"longitude", number, "deg", true, "centre of the locator, or the position"},
		{"bearing_deg", number, "deg", true, "from the own station, true north, short path, WGS84"},
		{"distance_km", number, "km", true, "from the own station, short path, WGS84"},
		{"position_radius_km", number, "km", true, "half-diagonal of the locator cell; 0 for a position"},
		{"region", text, "", false, "30-degree sector and distance class; own square; or unknown"},
	})
}

// Receptions: the usable spots, set into the trial. The judge reads these.
func Receptions() *arrow.Schema {
	return schema("receptions", "session,band,block,arm,direction,station,slot", key, []column{
		{"slot", Time, "", false, "start of the transmit slot"},
		{"snr_db", number, "dB", false, "signal-to-noise ratio as reported"},
		{"dither_db", number, "dB", false, "added to a report before it is compared, from -0.5 to +0.5"},
		{"power_w", number, "W", true, "power of the transmitting station, if the report tells it"},
	})
}

// Listening: who was listening in a dwell, as far as background spots tell.
func Listening() *arrow.Schema {
	return schema("listening", "session,band,block,position,station", []column{
		{"session", integer, "", false, "number of the outing, from 1"},
		{"band", text, "", false, "band name, such as 20m"},
		{"block", integer, "", false, "number of the block within session and band, from 1"},
		{"position", integer, "", false, "place of the dwell in its block, from 1"},
		{"arm", text, "", false, "the arm as scheduled"},
		{"station", integer, "", false, "number of the station in table stations"},
	})
}

// Cells: receptions summed up, for people and pictures.
func Cells() *arrow.Schema {
	return schema("cells", "session,band,block,arm,direction,station", key, []column{
		{"slots_sent", integer, "", false, "own slots that count in the arm's dwells of the block"},
		{"receptions", integer, "", false, "slots in which the station heard us, or we heard it"},
		{"mean_db", number, "dB", false, "mean of the reports"},
		{"best_db", number, "dB", false, "greatest report"},
		{"listening", truth, "", true, "whether background spots show the station listening; null without background"},
	})
}

// Paths: what the sky was like between the own station and each station that a block holds receptions of, at the middle
// of the block.
func Paths() *arrow.Schema {
	return schema("paths", "session,band,block,station", []column{
		{"session", integer, "", false, "number of the outing, from 1"},
		{"band", text, "", false, "band name, such as 20m"},
		{"block", integer, "", false, "number of the block within session and band, from 1"},
		{"station", integer, "", false, "number of the station in table stations"},
		{"middle", Time, "", false, "middle of the block's kept time, for which the sun is given"},
		{"sun_own_deg", number, "deg", false, "elevation of the sun at the own station, without refraction"},
		{"sun_midpoint_deg", number, "deg", false, "elevation of the sun at the middle of the short path"},
		{"sun_far_deg", number, "deg", false, "elevation of the sun at the far station"},
		{"distance_class", text, "", false, "under 100 km, 100-500 km, 500-1000 km, 1000-2000 km, 2000-4000 km, or over 4000 km"},
		{"e_hops", integer, "", true, "fewest equal hops by a mirror at 110 km that leave at 3 degrees or more"},
		{"e_takeoff_deg", number, "deg", true, "take-off angle of those"},
		{"e_more_takeoff_deg", number, "deg", true, "take-off angle with one hop more"},
		{"f2_low_hops", integer, "", true, "the same by a mirror at 250 km"},
		{"f2_low_takeoff_deg", number, "deg", true, "take-off angle of those"},
		{"f2_low_more_takeoff_deg", number, "deg", true, "take-off angle with one hop more"},
		{"f2_high_hops", integer, "", true, "the same by a mirror at 350 km"},
		{"f2_high_takeoff_deg", number, "deg", true, "take-off angle of those"},
		{"f2_high_more_takeoff_deg", number, "deg", true, "take-off angle with one hop more"},
		{"long_path_km", number, "km", false, "length of the long path, approximate"},
		{"long_path_bearing_deg", number, "deg", false, "bearing of the long path from the own station"},
		{"long_path_plausible", truth, "", false, "whether the signal may have come the long way round"},
	})
}

// Sweeps: impedance of an arm over frequency, at the plane where it was measured, and, if that was the radio, with the
// declared feedline removed.
func Sweeps() *arrow.Schema {
	return schema("sweeps", "arm,sweep,plane,frequency_mhz", []column{
		{"arm", text, "", false, "the arm that was measured"},
		{"sweep", text, "", false, "which measurement: its file, below the data folder"},
		{"plane", text, "", false, "radio or feedpoint: the plane that the figures are for"},
		{"measured", truth, "", false, "whether it was measured at that plane; else the feedline was removed by calculation"},
		{"frequency_mhz", number, "MHz", false, "frequency"},
		{"r_ohm", number, "Ohm", true, "resistance; null if not measured"},
		{"x_ohm", number, "Ohm", true, "reactance; null if not measured"},
		{"z0_ohm", number, "Ohm", false, "what SWR and losses refer to"},
		{"swr", number, "", true, "standing-wave ratio, as shown or calculated"},
		{"swr_low", number, "", true, "lowest SWR that the displayed figures allow"},
		{"swr_high", number, "", true, "highest SWR that the displayed figures allow"},
		{"return_loss_db", number, "dB", true, "return loss, positive, as shown or from the SWR"},
		{"mismatch_loss_db", number, "dB", true, "power not accepted because of the mismatch"},
		{"line_loss_db", number, "dB", true, "where the feedline was removed: what it loses, with its mismatch; null without bound"},
		{"line", integer, "", false, "line of the file"},
	})
}

// Quarantine: input rows that could not be used.
func Quarantine() *arrow.Schema {
	return schema("quarantine", "file,line,column,reason,value", []column{
		{"file", text, "", false, "file, below the data folder"},
		{"line", integer, "", false, "line on which the row or record begins"},
		{"column", text, "", true, "field or column at fault; null if the whole row is"},
		{"value", text, "", true, "the text at fault"},
		{"reason", text, "", false, "what is wrong, and the mend"},
	})
}

// Blocks: the first arm minus the second, block by block, for each claim that compares two arms on a band.
func Blocks() *arrow.Schema {
	return schema("blocks", "claim_number,band_number,session,block", []column{
		{"claim_number", integer, "", false, "place of the claim in the experiment file, from 0"},
		{"band_number", integer, "", false, "place of the band in the schedule, from 0"},
		{"session", integer, "", false, "number of the outing, from 1"},
		{"block", integer, "", false, "number of the block within session and band, from 1"},
		{"difference_db", number, "dB", true, "first arm minus second over the stations of the block; null if none was heard"},
		{"weight", number, "", false, "weight of the block in the estimate, 0 to 1"},
		{"stations", integer, "", false, "stations of the block that were heard on either arm above the cut"},
	})
}

// Differences: the first arm minus the second, station by station, for each claim that compares two arms on a band.
func Differences() *arrow.Schema {
	return schema("differences", "claim_number,band_number,station", []column{
		{"claim_number", integer, "", false, "place of the claim in the experiment file, from 0"},
		{"band_number", integer, "", false, "place of the band in the schedule, from 0"},
		{"station", integer, "", false, "number of the station in table stations"},
		{"difference_db", number, "dB", false, "first arm minus second at the station, over its blocks"},
		{"weight", number, "", false, "blocks in which it was heard: one for both arms, a half for one, a tenth for one alone and strong"},
		{"blocks", integer, "", false, "blocks in which it was heard on either arm"},
		{"in_lobe", truth, "", false, "whether its bearing is known well enough to enter a lobe"},
	})
}

// Lobes: the fitted dependence on azimuth of each directivity claim that could be tested, with its 95 % region.
func Lobes() *arrow.Schema {
	return schema("lobes", "claim_number,band_number,azimuth_deg", []column{
		{"claim_number", integer, "", false, "place of the claim in the experiment file, from 0"},
		{"band_number", integer, "", false, "place of the band in the schedule, from 0"},
		{"azimuth_deg", number, "deg", false, "bearing from the own station, in steps of 5"},
		{"fit_db", number, "dB", false, "first arm minus second by the fitted lobe"},
		{"low_db", number, "dB", true, "least value of any lobe that is not ruled out; null without a bound"},
		{"high_db", number, "dB", true, "greatest value of any lobe that is not ruled out; null without a bound"},
	})
}

// Fits: the harmonics of the fitted dependence on azimuth of each directivity claim that was tested, as vectors: whatever the
// verdict, or whoever puts trials together would pick.
func Fits() *arrow.Schema {
	return schema("fits", "claim_number,band_number,harmonic", []column{
		{"claim_number", integer, "", false, "place of the claim in the experiment file, from 0"},
		{"band_number", integer, "", false, "place of the band in the schedule, from 0"},
		{"harmonic", integer, "", false, "1: one lobe; 2: two opposite lobes"},
		{"cos_db", number, "dB", false, "first arm minus second: what is added toward north (amplitude times cos(harmonic times direction))"},
		{"sin_db", number, "dB", false, "the same toward east; of harmonic 2 toward 45 and 225 degrees"},
		{"var_cos", number, "dB^2", false, "sampling variance of cos_db over the blocks of the trial, at the stations heard"},
		{"var_sin", number, "dB^2", false, "sampling variance of sin_db"},
		{"cov", number, "dB^2", false, "sampling covariance of the two"},
	})
}

// Verdicts: one row for each claim and band.
func Verdicts() *arrow.Schema {
	return schema("verdicts", "claim_number,band_number", []column{
		{"claim_number", integer, "", false, "place of the claim in the experiment file, from 0"},
		{"band_number", integer, "", false, "place of the band in the schedule, from 0"},
		{"claim", text, "", false, "name of the claim"},
		{"kind", text, "", false, "kind of claim"},
		{"band", text, "", false, "band name, such as 20m"},
		{"verdict", text, "", false, "what was found"},
		{"reach", text, "", true, "these receivers, or beyond; null where it has no meaning"},
		{"reason_code", text, "", false, "stable code of the reason"},
		{"estimate_db", number, "dB", true, "first arm minus second"},
		{"low_db", number, "dB", true, "lower end of the interval that the verdict rests on"},
		{"high_db", number, "dB", true, "upper end of that interval"},
		{"p", number, "", true, "p value that the verdict rests on"},
		{"p_adjusted", number, "", true, "the same, corrected over the family (Holm)"},
		{"stations", integer, "", false, "stations that enter the claim"},
		{"receptions", integer, "", false, "receptions that enter the claim"},
		{"detail", text, "", false, "the whole entry of verdicts.json"},
	})
}
