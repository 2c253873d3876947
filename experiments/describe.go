package experiments

import "strings"

// Lines tells variables to people, one a line: "feedpoint height: 9 m". First the typed ones, then what stands in other.
func Lines(typed, other []Variable) []string {
	units := map[string]string{}
	for _, k := range variableKeys() {
		units[k.path] = k.unit
	}
	var out []string
	for _, v := range typed {
		name, value := v.Name, valueText(v.Value)
		if loss, ok := v.Value.(Loss); ok {
			name = strings.TrimSuffix(name, "_db_per_100m")
			value += " for 100 m, velocity factor " + short(loss.VelocityFactor) + ", " + short(loss.Z0Ohm) + " ohm"
		} else if base, unit := stem(name); unit != "" {
			name, value = base, value+" "+units[v.Name]
		} else if name == "feed_at" {
			value += " of the wire, from its near end"
		}
		out = append(out, strings.ReplaceAll(name, "_", " ")+": "+value)
	}
	for _, v := range other {
		out = append(out, v.Name+": "+valueText(v.Value))
	}
	return out
}

// About gives what a key of the file stands for and its unit, "" where it has none. The path is a pattern, such as
// "schedule.dwell_min", "fixed.power_w" or "claim[].within_km".
func About(path string) (doc, unit string) {
	for _, k := range knownKeys() {
		if k.path == path {
			return k.doc, k.unit
		}
	}
	return "", ""
}
