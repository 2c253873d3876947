package main

import (
	"fmt"
	"io"
	"strings"
)

// screenWidth is that of the narrowest screen that is written for.
const screenWidth = 80

// say fills lines with words; first and next are what lines begin with.
func say(w io.Writer, first, next, text string) {
	line, empty := first, true
	for _, word := range strings.Fields(text) {
		if !empty && len([]rune(line))+1+len([]rune(word)) > screenWidth {
			fmt.Fprintln(w, line)
			line, empty = next, true
		}
		if !empty {
			line += " "
		}
		line, empty = line+word, false
	}
	fmt.Fprintln(w, line)
}
