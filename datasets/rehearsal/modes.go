package rehearsal

import "slices"

// adifMode gives MODE and SUBMODE of a mode with reports in dB: ADIF 3.1.5, Mode and Submode enumerations. It gives
// false for a mode that a log in ADIF can't name.
func adifMode(name string) (mode, submode string, ok bool) {
	if slices.Contains([]string{"FT8", "ISCAT", "JT4", "JT9", "JT44", "JT65", "MFSK", "MSK144", "OPERA", "QRA64", "ROS", "T10", "V4", "WSPR"}, name) {
		return name, "", true
	}
	if slices.Contains([]string{"FT4", "FST4", "FST4W", "JS8", "Q65"}, name) {
		return "MFSK", name, true
	}
	for _, parent := range []string{"JT4", "JT9", "JT65", "QRA64"} {
		if len(name) == len(parent)+1 && name[:len(parent)] == parent {
			return parent, name, true
		}
	}
	return "", "", false
}
