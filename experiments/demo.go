package experiments

import "embed"

// Demos holds the demonstration experiments, NAME.toml, their seals, NAME.seal.json, and of repeats where they come from,
// NAME.origin.json.
//
//go:embed ridge-wire.toml plain-wire.toml hill-wire.toml mesa-wire.toml turned-wire.toml valley-wire.toml one-wire.toml
//go:embed ridge-wire.seal.json plain-wire.seal.json hill-wire.seal.json mesa-wire.seal.json
//go:embed turned-wire.seal.json valley-wire.seal.json one-wire.seal.json
//go:embed plain-wire.origin.json hill-wire.origin.json mesa-wire.origin.json
var Demos embed.FS
