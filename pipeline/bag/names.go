package bag

import (
	"errors"
	"fmt"
	"strings"
)

// CheckName tells whether an experiment's name can be that of a bundle's folder: letters of ASCII, digits, '.', '_' and '-',
// beginning with a letter or a digit, without a dot at the end, of 64 characters at most, and no name of a device of Windows.
func CheckName(name string) error {
	switch {
	case name == "":
		return errors.New("the name is empty")
	case len(name) > maxTop:
		return fmt.Errorf("the name is longer than %d characters", maxTop)
	case !onlyOf(name, isTopRune):
		return fmt.Errorf("%s has other characters than letters (a to z), digits, '.', '_' and '-'", shown(name))
	case !isAlphanumeric(rune(name[0])):
		return fmt.Errorf("%s does not begin with a letter or a digit", shown(name))
	case strings.HasSuffix(name, "."):
		return fmt.Errorf("%s ends with a dot", shown(name))
	case isDevice(name):
		return fmt.Errorf("%s is the name of a device on Windows", shown(name))
	}
	return nil
}

func isAlphanumeric(r rune) bool {
	return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9'
}

func isTopRune(r rune) bool { return isAlphanumeric(r) || strings.ContainsRune("._-", r) }

func isNameRune(r rune) bool { return isTopRune(r) && (r < 'A' || r > 'Z') }

func onlyOf(s string, ok func(rune) bool) bool {
	return !strings.ContainsFunc(s, func(r rune) bool { return !ok(r) })
}

// isDevice tells a name that Windows takes for a device, whatever its extension and case (Microsoft, Naming Files, Paths, and
// Namespaces).
func isDevice(part string) bool {
	stem, _, _ := strings.Cut(strings.ToLower(part), ".")
	stem = strings.TrimRight(stem, " ")
	switch stem {
	case "con", "prn", "aux", "nul":
		return true
	}
	return len(stem) == 4 && (strings.HasPrefix(stem, "com") || strings.HasPrefix(stem, "lpt")) && stem[3] >= '0' && stem[3] <= '9'
}

// badMember tells what is wrong with the name of a member, NAME/..., without the slash at the end of a folder's name. Its tests
// go from what only an attack has to what may be a slip.
func badMember(name string) (code, what string) {
	top, below, nested := strings.Cut(name, "/")
	switch {
	case strings.HasPrefix(name, "/"):
		return CodeAbsolute, "begins at the top of the disk"
	case len(name) > 1 && name[1] == ':':
		return CodeDrive, "begins with the letter of a drive"
	case strings.Contains(name, `\`):
		return CodeBackslash, "holds a backslash"
	case len(name) > maxName:
		return CodeLongName, fmt.Sprintf("is longer than %d characters", maxName)
	case strings.Count(name, "/") >= maxDepth:
		return CodeDeepName, fmt.Sprintf("lies more than %d folders deep", maxDepth-1)
	case top == "..", top == ".":
		return CodeTraversal, "leads out of its folder"
	}
	if nested {
		for part := range strings.SplitSeq(below, "/") {
			if code, what := badPart(part); code != "" {
				return code, what
			}
		}
	}
	if err := CheckName(top); err != nil {
		return CodeTopFolder, "does not begin with the name of an experiment: " + err.Error()
	}
	return "", ""
}

func badPart(part string) (code, what string) {
	switch {
	case part == "..", part == ".":
		return CodeTraversal, "leads out of its folder"
	case len(part) > 1 && part[1] == ':':
		return CodeDrive, "has a part that begins with the letter of a drive"
	case part == "":
		return CodeNameCharacters, "has an empty part"
	case len(part) > maxPart:
		return CodeLongName, fmt.Sprintf("has a part longer than %d characters", maxPart)
	case strings.HasSuffix(part, "."), strings.HasSuffix(part, " "):
		return CodeNameEnding, "has a part that ends with a dot or a space"
	case isDevice(part):
		return CodeDevice, "has a part that is the name of a device on Windows"
	case !onlyOf(part, isNameRune):
		return CodeNameCharacters, "has other characters than a to z, 0 to 9, '.', '_' and '-'"
	case part[0] == '.', part[0] == '-':
		return CodeNameCharacters, "has a part that begins with a dot or a dash"
	}
	return "", ""
}

// shown is a name that may hold anything, fit for a message.
func shown(name string) string {
	const most = 60
	if len(name) > most {
		return fmt.Sprintf("%q and %d more bytes", name[:most], len(name)-most)
	}
	return fmt.Sprintf("%q", name)
}
