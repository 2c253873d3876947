package report

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestOwnPagesAreNotForeign(t *testing.T) {
	for name, w := range cases() {
		require.NoError(t, CheckForeign([]byte(w.html(t))), name)
	}
	w := newWorld(3)
	w.params.Title, w.params.Question = `<script>alert("1")</script> & <meta http-equiv=refresh>`, `Is it <b>better</b>, < 3 dB?`
	require.NoError(t, CheckForeign([]byte(w.html(t))), "texts are escaped")
}

func TestForeignPages(t *testing.T) {
	page := newWorld(6).html(t)
	put := func(text string) string { return strings.Replace(page, "<header>", "<header>"+text, 1) }
	for name, foreign := range map[string]string{
		"empty":                  "",
		"a page of anybody":      "<!DOCTYPE html><title>x</title>",
		"without the policy":     strings.Replace(page, "default-src 'none'", "default-src *", 1),
		"something before it":    "<script>1</script>" + page,
		"a script":               put("<script>1</script>"),
		"a script with a slash":  put("<script/x>1</script>"),
		"a script, shouted":      put("<SCRIPT>1</SCRIPT>"),
		"an image":               put(`<img src="x">`),
		"a frame":                put(`<iframe src="x"></iframe>`),
		"a form":                 put(`<form action="https://q.example"><p></form>`),
		"another policy":         put(`<meta http-equiv="refresh" content="0;url=x">`),
		"a base":                 put(`<base href="#x">`),
		"a link":                 put(`<a href="https://q.example">here</a>`),
		"a link without marks":   put(`<a href=https://q.example>here</a>`),
		"a link in other marks":  put(`<a HREF = 'https://q.example'>here</a>`),
		"a link behind a mark":   put(`<a title=">" href=//q.example>here</a>`),
		"a picture's other file": put(`<svg><image xlink:href="x"></svg>`),
		"a comment":              put("<!-- -->"),
		"an instruction":         put("<?php ?>"),
		"nothing's name":         put("<>"),
	} {
		require.Error(t, CheckForeign([]byte(foreign)), name)
	}
}
