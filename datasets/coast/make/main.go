// Command make turns a TopoJSON file of the world's land into the file that package coast embeds.
//
// Run it from the top folder of the project, with the file land-110m.json of the npm package world-atlas:
//
//	go run ./datasets/coast/make land-110m.json
//
// The same source gives the same bytes.
package main

import (
	"errors"
	"fmt"
	"os"

	"fairlobe/datasets/coast"
)

// target is the embedded file, below the project's top folder.
const target = "datasets/coast/land-110m.bin"

func main() {
	if err := run(os.Args[1:], target); err != nil {
		fmt.Fprintln(os.Stderr, "make:", err)
		os.Exit(1)
	}
}

func run(args []string, target string) error {
	if len(args) != 1 {
		return errors.New("name the TopoJSON file, and nothing else")
	}
	data, err := os.ReadFile(args[0])
	if err != nil {
		return fmt.Errorf("reading the land: %w", err)
	}
	rings, err := readLand(data)
	if err != nil {
		return fmt.Errorf("reading %s: %w", args[0], err)
	}
	if err := os.WriteFile(target, coast.Encode(rings), 0o644); err != nil {
		return fmt.Errorf("writing the coastlines: %w", err)
	}
	return nil
}
