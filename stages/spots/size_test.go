package spots

import (
	"fmt"
	"os"
	"runtime"
	"strconv"
	"testing"
)

func TestSizeTmp(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("N"))
	if n == 0 {
		t.Skip()
	}
	rows := make([]row, n)
	for i := range rows {
		r := one(i+1, "04:00:30")
		r.at = at("04:00:30")
		r.at = r.at.Add(15 * 1e9 * 2 * 1)
		r.rx = fmt.Sprintf("Q%dA%c%c", i%10, 'A'+i/10%26, 'A'+i/260%26)
		rows[i] = r
	}
	b := file{name: "a", rows: rows}
	tables := b
	_ = tables
	var m0, m1 runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m0)
	peak := uint64(0)
	done := make(chan bool)
	go func() {
		for {
			select {
			case <-done:
				return
			default:
				var m runtime.MemStats
				runtime.ReadMemStats(&m)
				if m.HeapInuse > peak {
					peak = m.HeapInuse
				}
			}
		}
	}()
	_, err := place3(t, params(), twoBlocks, b)
	done <- true
	runtime.ReadMemStats(&m1)
	fmt.Println(err, "base MB", m0.HeapInuse>>20, "peak MB", peak>>20, "total alloc MB", (m1.TotalAlloc-m0.TotalAlloc)>>20)
}
