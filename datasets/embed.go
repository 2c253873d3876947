package datasets

import "embed"

// RidgeWire holds the data folder of the demonstration experiment, below "ridge-wire".
//
//go:embed ridge-wire
var RidgeWire embed.FS
