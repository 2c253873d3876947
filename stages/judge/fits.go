package judge

import (
	"github.com/apache/arrow/go/v15/arrow"

	"fairlobe/datasets"
	"fairlobe/pipeline/table"
)

// fitTable gives the fitted lobes of the claims that were tested as vectors, whatever the verdict is: if only lobes that
// were shown stood here, a combination of trials would find too much. An open trial has its rows too; that its
// covariance speaks of a fixed number of blocks is for the reader to mind.
func fitTable(entries []*Entry) arrow.Record {
	b := table.NewBuilder(datasets.Fits())
	for _, e := range entries {
		for _, f := range e.fits {
			b.Append(e.claimNumber, e.bandNumber, f.Harmonic, *round4(f.CosDB), *round4(f.SinDB), round6(f.VarCos), round6(f.VarSin), round6(f.Cov))
		}
	}
	return b.Record()
}
