// Package handover turns what a run made into what may leave the house, and reads it back.
//
// What leaves: the tables that the judge and the report read, and those that the judge makes, in a private form
// (tables.go); the accounts that stand beside tables, without notes and names of files (accounts.go); the standing of seal
// and looks (standing.go); and a description of all of it, a data package (package.go). Search looks afterwards whether
// a word that must stay home is anywhere in it, in every cell, dictionary and key-value entry.
//
// The private form is made so that the judge gives the same numbers: calls become keyed hashes, places and angles
// are rounded as the judge rounds them, texts of the operator are dropped. Times and reports stay exact, since the verdicts
// rest on them.
//
// What the package can't do: hide who took part from somebody who has the same reports from elsewhere, for their times and
// values tell.
//
// It opens no file, and knows nothing of the experiment file.
package handover
