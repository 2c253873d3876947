package experiments

import "embed"

// Demos holds the demonstration experiments, NAME.toml, and their seals, NAME.seal.json.
//
//go:embed ridge-wire.toml plain-wire.toml hill-wire.toml mesa-wire.toml turned-wire.toml valley-wire.toml one-wire.toml
//go:embed ridge-wire.seal.json plain-wire.seal.json hill-wire.seal.json mesa-wire.seal.json
//go:embed turned-wire.seal.json valley-wire.seal.json one-wire.seal.json
var Demos embed.FS
