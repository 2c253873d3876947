package datasets

import "embed"

// Demos holds the data folders of the demonstrations, each below its name.
//
//go:embed ridge-wire plain-wire hill-wire mesa-wire turned-wire valley-wire one-wire
var Demos embed.FS
