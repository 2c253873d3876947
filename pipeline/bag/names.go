package bag

import (
	"errors"
	"fmt"
)

// CheckName tells whether an experiment's name can be that of a bundle's folder: letters of ASCII, digits, '.', '_' and '-',
// beginning with a letter or a digit, no dot at the end, at most 64 characters, no device's name of Windows.
func CheckName(name string) error {
	if name == "" {
		return errors.New("a bundle needs a name")
	}
	return nil
}

func checkPayload(name string, payload []File) error {
	if err := CheckName(name); err != nil {
		return err
	}
	if len(payload) == 0 {
		return fmt.Errorf("there is nothing to pack")
	}
	return nil
}
