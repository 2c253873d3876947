package adif

import "fmt"

// maxModeName is longer than any name of the enumerations, so a longer one, cut to it, is never found in them.
const maxModeName = 40

// modeOf reads MODE and SUBMODE. What is a submode today but stands as the mode is put in its place, with a warning.
func (p *parser) modeOf(c *contact) {
	v, f := p.need(fieldMode)
	if f == nil {
		return
	}
	var buf [maxModeName]byte
	name := upper(buf[:], v)
	if m, ok := modeTable[string(name)]; ok {
		c.mode, c.db = m.name, m.db
		p.submodeOf(c, m)
		return
	}
	sub, ok := submodeTable[string(name)]
	if !ok {
		p.wrong("unknown-mode", f, "is not a mode", "write a mode of the ADIF Mode enumeration, for example FT8 or MFSK")
		return
	}
	kind, why := "submode-in-mode", "is a submode"
	if sub.importOnly {
		kind, why = "import-only-mode", "is a mode of old files"
	}
	p.odd(kind, f, why, fmt.Sprintf("write MODE %s and SUBMODE %s; it is read so", sub.parent.name, sub.name))
	c.mode, c.submode, c.db = sub.parent.name, sub.name, sub.db
	if v, f := p.value(fieldSubmode); f != nil && !isUpper(v, sub.name) {
		p.wrong("mode-submode-mismatch", f, "contradicts MODE, which names the submode "+sub.name, "correct the one that is wrong")
	}
}

// submodeOf reads SUBMODE beside a mode of the enumeration. A submode that is not in the enumeration may be newer than
// it, so its text is kept.
func (p *parser) submodeOf(c *contact, m *mode) {
	v, f := p.value(fieldSubmode)
	if f == nil {
		return
	}
	var buf [maxModeName]byte
	name := upper(buf[:], v)
	sub, known := submodeTable[string(name)]
	other := modeTable[string(name)]
	switch {
	case len(v) > maxModeName:
		p.odd("unknown-submode", f, "is too long for a submode and is dropped", "correct SUBMODE")
	case known && sub.parent != m:
		p.wrong("mode-submode-mismatch", f, fmt.Sprintf("belongs to MODE %s, and MODE is %s", sub.parent.name, m.name), "correct the one that is wrong")
	case known:
		c.submode, c.db = sub.name, sub.db
	case other != nil && other != m:
		p.wrong("mode-submode-mismatch", f, "is a mode of its own, and MODE is "+m.name, "correct the one that is wrong")
	default:
		c.submode = p.text(name)
		p.odd("unknown-submode", f, "is not in the enumeration; the text is kept", "nothing to do if the submode is a new one")
	}
}
