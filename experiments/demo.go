package experiments

import "embed"

// RidgeWire holds the demonstration experiment, ridge-wire.toml, and its seal, ridge-wire.seal.json. The
// pattern leaves out what a run writes beside them.
//
//go:embed ridge-wire.[ts]*
var RidgeWire embed.FS
