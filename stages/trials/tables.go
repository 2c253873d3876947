package trials

import (
	"context"

	"github.com/apache/arrow/go/v15/arrow"
)

// Tables gives the tables of one trial of the settings by their names, as a run of it would write them: dwells, stations,
// receptions and what else the verdicts rest on. number counts from 0; a trial of Run has the same tables.
func Tables(ctx context.Context, s Settings, number int) (map[string]arrow.Record, error) {
	sc, err := s.prepare()
	if err != nil {
		return nil, err
	}
	c, err := sc.carry(ctx, number)
	if err != nil {
		return nil, err
	}
	made, err := sc.brought(ctx, c, c.end())
	return made.tables, err
}
