package experiments

import (
	"fmt"
	"testing"
)

func TestTry(t *testing.T) {
	e, l := Load("ridge-wire.toml")
	fmt.Println(l.Error())
	if e != nil {
		c, _ := e.Canonical()
		fmt.Println(string(c))
		for _, d := range e.Differences() {
			fmt.Println(d)
		}
		fmt.Println(e.Unnamed().Error())
		fmt.Println(e.SessionEnd(0))
	}
	fmt.Println(Reference())
}
