package handover

import (
	"fmt"
	"regexp"
	"strings"
)

// Licence is a licence by its SPDX identifier (SPDX Specification, ISO/IEC 5962:2021, annex "SPDX License List"). Title and Path
// are known for a short list.
type Licence struct {
	ID    string `json:"name"`
	Path  string `json:"path,omitempty"`
	Title string `json:"title,omitempty"`
}

// NoLicence stands in bag-info.txt where no licence was named; SPDX has the word.
const NoLicence = "NOASSERTION"

// licences are those that fit data, with what they mean for whoever uses them.
func licences() []Licence {
	return []Licence{
		{"CC0-1.0", "https://creativecommons.org/publicdomain/zero/1.0/", "Creative Commons Zero 1.0"},
		{"CC-BY-4.0", "https://creativecommons.org/licenses/by/4.0/", "Creative Commons Attribution 4.0"},
		{"ODbL-1.0", "https://opendatacommons.org/licenses/odbl/1-0/", "Open Data Commons Open Database License 1.0"},
	}
}

var licenceForm = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9.-]{0,63}$`)

// LicenceOf reads an SPDX identifier. Those of the short list are known in any case of letters.
func LicenceOf(id string) (Licence, error) {
	for _, l := range licences() {
		if strings.EqualFold(l.ID, id) {
			return l, nil
		}
	}
	if strings.EqualFold(id, NoLicence) || strings.EqualFold(id, "NONE") {
		return Licence{}, fmt.Errorf("%s is no licence; leave --licence out if you name none", id)
	}
	if !licenceForm.MatchString(id) {
		return Licence{}, fmt.Errorf("%q is no SPDX identifier of one licence, such as %s", id, strings.Join(licenceIDs(), ", "))
	}
	return Licence{ID: id}, nil
}

func licenceIDs() []string {
	var out []string
	for _, l := range licences() {
		out = append(out, l.ID)
	}
	return out
}
