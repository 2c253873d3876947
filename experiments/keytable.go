package experiments

import "math"

// The farthest point of the Earth, km: half a meridian is 20004 km (WGS 84), rounded up to the next ten.
const farthestKm = 20010

// variableKeys are the typed variables; each is legal in [fixed] or in [[arm]]. Their paths are names only.
func variableKeys() []key {
	return []key{
		{path: "feedpoint_height_m", kind: aNumber, unit: "m", span: from(0, 300),
			doc: "height of the wire's near end over ground", example: "4.5"},
		{path: "far_end_height_m", kind: aNumber, unit: "m", span: from(0, 300),
			doc: "height of the wire's far end over ground", example: "2.0"},
		{path: "slope_azimuth_deg", kind: aNumber, unit: "deg", span: from(0, 360),
			doc: "the way in which the wire runs from its near end, clockwise from north", example: "300"},
		{path: "wire_length_m", kind: aNumber, unit: "m", span: above(0, 2000),
			doc: "length of the straight wire", example: "10.2"},
		{path: "wire_diameter_mm", kind: aNumber, unit: "mm", span: above(0, 100),
			doc: "diameter of the conductor", example: "1.6"},
		{path: "feed_at", kind: aNumber, span: from(0, 1),
			doc: "fraction of the wire from its near end: 0 = fed at the near end, 0.5 = centre", example: "0.0"},
		{path: "counterpoise_length_m", kind: aNumber, unit: "m", span: from(0, 500),
			doc: "length of the counterpoise; 0 = none", example: "2.1"},
		{path: "counterpoise_height_m", kind: aNumber, unit: "m", span: from(0, 300),
			doc: "height of the counterpoise over ground", example: "0.3"},
		{path: "choke_at_m", kind: aNumber, unit: "m", span: from(0, 2000),
			doc: "place of the choke along the feedline, from the feedpoint", example: "2.0"},
		{path: "choke_ohm", kind: aNumber, unit: "ohm", span: from(0, 1e6),
			doc: "impedance of the choke to current on the outside of the feedline", example: "3000"},
		{path: "transformer_ratio", kind: aNumber, span: above(0, 1000),
			doc: "impedance ratio of the transformer at the feedpoint, antenna to line", example: "49"},
		{path: "feedline_length_m", kind: aNumber, unit: "m", span: from(0, 2000),
			doc: "length of the feedline from radio to feedpoint", example: "12"},
		{path: "feedline_loss_db_per_100m", kind: aTable, unit: "dB",
			doc: "matched loss of 100 m of the feedline at one frequency, and its constants", example: "{ db = 4.0, at_mhz = 14 }"},
		{path: "tuner", kind: aText, words: []string{"none", "fixed", "per arm"},
			doc: "whether a tuner is in the line, and whether it is set anew for each arm", example: `"none"`},
		{path: "mast", kind: aText, doc: "what the mast is made of", example: `"glass fibre"`},
		{path: "support", kind: aText, doc: "what else holds the wire", example: `"tree"`},
		{path: "idle_arm", kind: aText, words: []string{"lowered", "disconnected", "grounded", "none"},
			doc: "what is done with the arm that is not connected; none = there is only one at a time", example: `"lowered"`},
		{path: "arm_spacing_m", kind: aNumber, unit: "m", span: from(0, 10000),
			doc: "distance between the arms that stand at the same time", example: "20"},
		{path: "power_w", kind: aNumber, unit: "W", span: above(0, 10000),
			doc: "power at the radio's output", example: "4"},
		{path: "audio_offset_hz", kind: aNumber, unit: "Hz", span: from(0, 10000),
			doc: "audio frequency of the transmission within the channel", example: "1500"},
		{path: "wires", kind: aList, item: aTable, doc: "straight pieces of wire, for any shape but one straight wire",
			example: "[{ from_m = [0, 0, 9], to_m = [0, 10, 2] }]"},
	}
}

// variableParts are the keys inside the variables that are tables.
func variableParts() []key {
	return []key{
		{path: "feedline_loss_db_per_100m.db", kind: aNumber, unit: "dB", span: from(0, 1000), need: required,
			doc: "loss of 100 m at that frequency", example: "4.0"},
		{path: "feedline_loss_db_per_100m.at_mhz", kind: aNumber, unit: "MHz", span: above(0, 3000), need: required,
			doc: "the frequency of that loss", example: "14"},
		{path: "feedline_loss_db_per_100m.velocity_factor", kind: aNumber, span: above(0, 1), def: 0.66,
			doc: "speed of waves on the line over that in free space", example: "0.66"},
		{path: "feedline_loss_db_per_100m.z0_ohm", kind: aNumber, unit: "ohm", span: above(0, 2000), def: 50.0,
			doc: "characteristic impedance of the line", example: "50"},
		{path: "wires[].from_m", kind: aList, item: aNumber, most: 3, unit: "m", need: required,
			doc: "one end: east, north (true, whatever azimuth_reference says), up", example: "[0, 0, 9]"},
		{path: "wires[].to_m", kind: aList, item: aNumber, most: 3, unit: "m", need: required,
			doc: "the other end", example: "[0, 10, 2]"},
		{path: "wires[].diameter_mm", kind: aNumber, unit: "mm", span: above(0, 100), def: 2.0,
			doc: "diameter of the piece", example: "1.6"},
	}
}

// topKeys are the keys above the first table, and the tables.
func topKeys() []key {
	return []key{
		{path: "fairlobe", kind: anInteger, span: from(1, 1), need: required, doc: "format of the file", example: "1"},
		{path: "title", kind: aText, or: "default: the name of the file", doc: "one line for the top of the page",
			example: `"Ridge wire: feedpoint at 4.5 m against 9 m"`},
		{path: "question", kind: aText, def: "", doc: "what the trial is to answer, in your words",
			example: `"Does lifting the feedpoint help, and on which bands?"`},
		{path: "smallest_difference_db", kind: aNumber, unit: "dB", span: above(0, 20), need: required,
			doc: "the smallest difference that matters in practice", example: "1.5"},
		{path: "smallest_difference_points", kind: aNumber, unit: "percentage points", span: above(0, 100), def: 10.0,
			doc: "the same for the claims of kind heard_by", example: "10"},
		{path: "seed", kind: anInteger, span: from(0, math.MaxInt64), or: "drawn from the system when the design is sealed",
			doc: "start of all random numbers", example: "4012558071"},
		{path: "data", kind: aText, def: ".", doc: "folder of spots, sweeps and log, from the experiment file's folder",
			example: `"../datasets/ridge-wire"`},
		{path: "station", kind: aTable | aText, need: required, below: here,
			doc: "the operator's station, or a file of its own with these keys", example: `"my-station.toml"`},
		{path: "control", kind: aTable, doc: "a station that transmits in the same slots, for comparison",
			example: `{ call = "Q2CTL", locator = "MN83lq" }`},
		{path: "fixed", kind: aTable, need: required, doc: "controlled variables held the same for all arms", example: inTables},
		{path: "arm", kind: aList, item: aTable, need: required, doc: "the antenna configurations under test", example: inTables},
		{path: "schedule", kind: aTable, need: required, doc: "when each arm is on the air", example: inTables},
		{path: "claim", kind: aList, item: aTable, doc: "the sentences that the data may bear out", example: inTables},
		{path: "spots", kind: aList, item: aTable, doc: "where the reports are found", example: inTables},
		{path: "sweeps", kind: aList, item: aTable, doc: "where the impedance measurements are found", example: inTables},
		{path: "log", kind: aTable, doc: "what was done in the field", example: `{ switches = "log/switches.csv" }`},
	}
}

// Folders that names of files count from.
const (
	here    = "the experiment file's folder"
	dataDir = "the data folder"
)

func stationKeys() []key {
	return []key{
		{path: "station.call", kind: aText, need: required, doc: "call sign", example: `"Q1RDG"`},
		{path: "station.also", kind: aList, item: aText, def: []string{}, doc: "other spellings of the same transmitter",
			example: `["Q1RDG/P"]`},
		{path: "station.locator", kind: aText, need: required, doc: "locator of 4 to 12 characters", example: `"MN83kp"`},
		{path: "station.ground", kind: aText | aTable, words: []string{"poor", "average", "good", "sea"}, def: "average",
			doc: "the soil under the antenna, by name or by its two constants", example: "{ permittivity = 13, conductivity_s_per_m = 0.005 }"},
		{path: "station.ground.permittivity", kind: aNumber, span: from(1, 100), need: required,
			doc: "relative permittivity", example: "13"},
		{path: "station.ground.conductivity_s_per_m", kind: aNumber, unit: "S/m", span: from(0, 10), need: required,
			doc: "conductivity", example: "0.005"},
		{path: "control.call", kind: aText, need: required, doc: "call sign of the control station", example: `"Q2CTL"`},
		{path: "control.locator", kind: aText, def: "", doc: "its locator", example: `"MN83lq"`},
	}
}

func fixedKeys() []key {
	return []key{
		{path: "fixed.mode", kind: aText, need: required,
			doc: "mode, by its ADIF name; gives slot_s and cut_at_db where they are known", example: `"FT8"`},
		{path: "fixed.slot_s", kind: aNumber, unit: "s", span: above(0, 3600), or: "default: the mode's",
			doc: "the mode's transmit period, counted from 00:00 UTC; divides the day", example: "15"},
		{path: "fixed.cut_at_db", kind: aNumber, unit: "dB", span: from(-60, 30),
			or:  "default: -14.5 with slots of 7.5 s, -18 with 15 s, -21 with 60 s, -25 with 120 s one way",
			doc: "level above which whatever was sent counts as decoded: that where half decode, and 3 dB", example: "-18"},
		{path: "fixed.sends", kind: aText, words: []string{"every slot", "even slots", "odd slots", "as logged"}, def: "every slot",
			doc: "the slots in which the station transmits", example: `"even slots"`},
		{path: "fixed.azimuth_reference", kind: aText, words: []string{"true", "magnetic"}, def: "true",
			doc: "the north that azimuths of this file count from", example: `"true"`},
		{path: "fixed.declination_deg", kind: aNumber, unit: "deg", span: from(-180, 180), or: "required with magnetic, else not used",
			doc: "magnetic minus true north, east positive", example: "6.5"},
		{path: "fixed.other", kind: aTable, open: true, doc: "anything else: shown and compared, never calculated with",
			example: `{ "radial count" = 0 }`},
	}
}

func armKeys() []key {
	return []key{
		{path: "arm[].name", kind: aText, need: required, doc: "short name of the arm, without commas", example: `"low"`},
		{path: "arm[].other", kind: aTable, open: true, doc: "as in [fixed], for what differs between arms",
			example: `{ "radial count" = 4 }`},
	}
}

func scheduleKeys() []key {
	without := "required without file"
	return []key{
		{path: "schedule.bands", kind: aList, item: aText, words: bandNames(), or: without,
			doc: "bands, by their ADIF names", example: `["20m", "10m"]`},
		{path: "schedule.blocks", kind: anInteger, span: from(1, 10000), or: without,
			doc: "blocks per band, over all sessions", example: "16"},
		{path: "schedule.dwell_min", kind: aNumber, unit: "min", span: above(0, 240), or: without,
			doc: "the minutes one arm stays connected", example: "6"},
		{path: "schedule.settle_min", kind: aNumber, unit: "min", span: above(0, 60), or: "default: one slot",
			doc: "the first part of a dwell, left out; at least one slot", example: "0.5"},
		{path: "schedule.pattern", kind: aText, words: []string{"pairs", "mirrored"}, def: "pairs",
			doc: "one dwell an arm, or the drawn order and then its mirror image (A B B A)", example: `"pairs"`},
		{path: "schedule.changeover", kind: aText, words: []string{"by hand", "switch"}, def: "by hand",
			doc: "how arms are exchanged", example: `"by hand"`},
		{path: "schedule.arm_change_min", kind: aNumber, unit: "min", span: from(0, 240), def: 0.0,
			doc: "time for a change of arm, between dwells and not inside them", example: "3"},
		{path: "schedule.band_change_min", kind: aNumber, unit: "min", span: from(0, 240), def: 0.0,
			doc: "time for a change of band", example: "1"},
		{path: "schedule.rotate", kind: aText, words: []string{"bands within arm", "arms within band"}, def: "bands within arm",
			doc: "A20 A10 B20 B10 with one draw for all bands, or A20 B20 A10 B10", example: `"bands within arm"`},
		{path: "schedule.breaks", kind: aList, item: aTable, def: []Break{}, doc: "pauses within each session",
			example: "[{ after_block = 4, min = 20 }]"},
		{path: "schedule.breaks[].after_block", kind: anInteger, span: from(1, 10000), need: required,
			doc: "number of the block before the pause", example: "4"},
		{path: "schedule.breaks[].min", kind: aNumber, unit: "min", span: above(0, 1440), need: required,
			doc: "length of the pause", example: "20"},
		{path: "schedule.spot_interval_min", kind: aNumber, unit: "min", span: from(0, 120), need: required,
			doc: "how often a receiver's reports are passed on; 0 = every decode", example: "5"},
		{path: "schedule.stopping", kind: aText, words: []string{"fixed", "open"}, def: "fixed",
			doc: "a fixed number of blocks, or look and stop at will", example: `"fixed"`},
		{path: "schedule.start", kind: aTime, or: "one of start, sessions and file is required",
			doc: "start of the only session", example: "2026-09-12T04:00:00Z"},
		{path: "schedule.sessions", kind: aList, item: aTable, or: "one of start, sessions and file is required",
			doc: "the outings, in order of time", example: "[{ start = 2026-09-12T04:00:00Z, blocks = 16 }]"},
		{path: "schedule.sessions[].start", kind: aTime, need: required, doc: "first dwell of the session",
			example: "2026-09-12T04:00:00Z"},
		{path: "schedule.sessions[].blocks", kind: anInteger, span: from(1, 10000), need: required,
			doc: "blocks of this session", example: "8"},
		{path: "schedule.sessions[].erection", kind: aTable, open: true, or: "default: 1 for every arm",
			doc: "number of the putting-up of each arm", example: "{ low = 1, high = 1 }"},
		{path: "schedule.file", kind: aText, below: here, or: "one of start, sessions and file is required",
			doc: "a schedule drawn and recorded elsewhere", example: `"schedule.csv"`},
		{path: "schedule.order", kind: aText, words: []string{"random", "not random"}, or: "required with file, else not used",
			doc: "how that file's order was made", example: `"random"`},
	}
}
