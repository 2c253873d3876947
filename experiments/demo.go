package experiments

import "embed"

// RidgeWire holds the demonstration experiment, ridge-wire.toml, and its seal, ridge-wire.seal.json.
//
//go:embed ridge-wire.toml ridge-wire.seal.json
var RidgeWire embed.FS
