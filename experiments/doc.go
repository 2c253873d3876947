// Package experiments reads an experiment file: one TOML text that states the question, the station, the
// controlled variables, the arms, the schedule, the claims and the data sources of a trial, before any data exist.
//
// [Parse] goes through a file in five steps: the syntax (by BurntSushi/toml), the place of every key (by
// the AST of pelletier/go-toml/v2), unknown keys, the type, value and unit of each key, and last the relations
// between two places. One table ([Reference] prints it) lists every key with its kind, unit, default, limits and
// meaning; reading, checking and documentation all use that table, so none of them can know a key that the others
// don't. All faults of a file are told at once, each with its line and column, the rule, and a mend.
//
// The package does not read spots, sweeps, logs or schedules: [Load] only looks whether the named folder
// and files are there. It does not draw the order of arms either.
//
// Syntax: TOML (toml.io). Times: RFC 3339, UTC. Canonical form for the seal: RFC 8785.
package experiments
