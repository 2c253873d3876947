package adif

// maxShown is how many bytes of a value a message shows.
const maxShown = 60

// shown cuts a value to a readable length.
func shown(b []byte) string {
	if len(b) > maxShown {
		return string(b[:maxShown]) + "..."
	}
	return string(b)
}

// show gives the text of the file between two offsets, cut to a readable length.
func (p *parser) show(from, to int) string { return shown(p.data[from:to]) }

// fault adds an error to the record and refuses it.
func (p *parser) fault(kind string, at int, field, value, msg, mend string) {
	p.refused = true
	p.note(Error, kind, at, field, value, msg, mend)
}

// doubt adds a warning to the record.
func (p *parser) doubt(kind string, at int, field, value, msg, mend string) {
	p.note(Warning, kind, at, field, value, msg, mend)
}

func (p *parser) note(s Severity, kind string, at int, field, value, msg, mend string) {
	rec := &p.rec.Record
	if len(rec.Findings) < maxFindings {
		rec.Findings = append(rec.Findings, Finding{Severity: s, Kind: kind, Offset: int64(at), Line: p.lines.at(at), Record: rec.N,
			Field: field, Value: value, Msg: msg, Mend: mend})
	}
}

// whole adds a finding about the file or its header.
func (p *parser) whole(s Severity, kind string, at int, field, value, msg, mend string) {
	if len(p.sum.Findings) < maxFindings {
		p.sum.Findings = append(p.sum.Findings, Finding{Severity: s, Kind: kind, Offset: int64(at), Line: p.lines.at(at),
			Field: field, Value: value, Msg: msg, Mend: mend})
	}
}
