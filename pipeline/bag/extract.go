package bag

import (
	"context"
	"os"
	"path/filepath"
	"slices"
)

// Extract writes the whole bag into the folder dir; see [Bag.ExtractContext].
func (b *Bag) Extract(dir string) error { return b.ExtractContext(context.Background(), dir) }

// ExtractContext writes the whole bag into the folder dir, which must not exist or be empty.
func (b *Bag) ExtractContext(ctx context.Context, dir string) error {
	for _, f := range slices.Concat(b.tags, payloadMembers(b.payload)) {
		if err := ctx.Err(); err != nil {
			return err
		}
		path := filepath.Join(dir, filepath.FromSlash(f.Name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(path, f.Data, 0o644); err != nil {
			return err
		}
	}
	return nil
}
