package report

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
)

// pageTags are the elements that a page may have: none that loads, sends or runs anything.
var pageTags = strings.Fields("a article b body br caption circle clippath code dd defs desc details dl div dt em figcaption figure footer g h1 h2 " +
	"h3 h4 head header html i li line main nav ol p path polygon polyline rect section small span strong style summary sup svg table tbody " +
	"td text tfoot th thead title tr tspan ul use")

var (
	pageTag  = regexp.MustCompile(`<[/\s]*([^\s/>]*)`)
	pageLink = regexp.MustCompile(`(?i)href\s*=\s*("#)?`)
)

// CheckForeign tells whether a page from somebody else is of the kind that this package makes, so that it may be opened in a browser: it
// begins with the content policy under which nothing is loaded and no script runs, has no element but those of such pages, and links
// within itself only. That its words are true it does not tell.
func CheckForeign(page []byte) error {
	opening, _, _ := strings.Cut(pageTemplate, "<title>")
	rest, ok := bytes.CutPrefix(page, []byte(opening))
	if !ok {
		return errors.New("it does not begin as a page of fairlobe does, with the policy that nothing is loaded and no script runs")
	}
	for _, found := range pageTag.FindAllSubmatch(rest, -1) {
		if name := strings.ToLower(string(found[1])); !slices.Contains(pageTags, name) {
			return fmt.Errorf("it holds the element %.40q, which no page of fairlobe has", found[1])
		}
	}
	for _, link := range pageLink.FindAllSubmatch(rest, -1) {
		if len(link[1]) == 0 {
			return errors.New("it links to somewhere else")
		}
	}
	return nil
}
