package datasets_test

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// ofKind gives the first claim of a kind.
func ofKind(t *testing.T, doc map[string]any, kind string) map[string]any {
	t.Helper()
	for _, c := range doc["claims"].([]any) {
		if one := c.(map[string]any); one["kind"] == kind {
			return one
		}
	}
	t.Fatalf("no claim of the kind %s", kind)
	return nil
}

func TestVerdictsSchemaOfSharesAndOffsets(t *testing.T) {
	s := schema(t)
	for name, c := range map[string]struct {
		kind, key string
		value     any
		good      bool
	}{
		"an unbounded share":                   {"heard_by", "interval_points", []any{nil, 12.5}, true},
		"no share":                             {"heard_by", "shares_percent", nil, true},
		"a share received":                     {"heard_by", "direction", "received", true},
		"a share in dB":                        {"heard_by", "estimate_db", 1.0, false},
		"a limit in dB for a share":            {"heard_by", "smallest_difference_db", 1.5, false},
		"no limit for a share":                 {"heard_by", "smallest_difference_points", 0, false},
		"a share above all":                    {"heard_by", "shares_percent", []any{101.0, 2.0}, false},
		"a difference above all":               {"heard_by", "estimate_points", 120.0, false},
		"a share that holds":                   {"heard_by", "verdict", "holds", false},
		"a share of one way":                   {"heard_by", "stations_one_way", 3, false},
		"a share beyond in dB":                 {"heard_by", "beyond", map[string]any{"interval_db": []any{1.0, 2.0}, "p": 0.01, "regions": 9.0, "interval_points": nil}, false},
		"a level in points":                    {"level", "estimate_points", 3.0, false},
		"a level without a limit":              {"level", "smallest_difference_db", nil, false},
		"a level beyond in points":             {"level", "beyond", map[string]any{"interval_db": nil, "p": 0.01, "regions": 9.0, "interval_points": nil}, false},
		"an offset of one direction":           {"reciprocity", "direction", "sent", false},
		"an offset beyond the stations":        {"reciprocity", "reach", "beyond", false},
		"an offset with a naive reading":       {"reciprocity", "naive", map[string]any{"spot_t_p": 0.1, "misleading": true}, false},
		"an offset with stations below 0":      {"reciprocity", "stations_one_way", -1, false},
		"an offset in points":                  {"reciprocity", "interval_points", nil, false},
		"an offset that was described":         {"reciprocity", "evidence", "observed only", false},
		"an offset of stations without powers": {"reciprocity", "stations_without_power", 4, true},
	} {
		t.Run(name, func(t *testing.T) {
			doc := document(t)
			require.NoError(t, s.Validate(doc))
			ofKind(t, doc, c.kind)[c.key] = c.value
			if err := s.Validate(doc); c.good {
				require.NoError(t, err)
			} else {
				require.Error(t, err)
			}
		})
	}
	for kind, keys := range map[string][]string{
		"heard_by":    {"smallest_difference_points", "estimate_points", "interval_points", "running_interval_points", "shares_percent", "blocks_with_background", "blocks_saturated"},
		"reciprocity": {"stations_one_way", "stations_without_power"},
	} {
		for _, key := range keys {
			doc := document(t)
			delete(ofKind(t, doc, kind), key)
			require.Error(t, s.Validate(doc), "%s without %s", kind, key)
		}
	}
}
