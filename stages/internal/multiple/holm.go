// Package multiple adjusts the p values of a family of questions, so that the chance of one false
// alarm or more in the whole family stays at the level.
//
// The family is every (claim, band) pair that was declared before the data, those that ended in a
// refusal included: a question may not leave the family because its data turned out poor.
//
// Source: Holm, A simple sequentially rejective multiple test procedure, Scandinavian Journal of
// Statistics 6, 1979, 65-70.
package multiple

import "slices"

// Holm gives the adjusted p values in the order of p: with the values sorted upwards, the i-th of m
// (i from 0) becomes the greatest of (m-j)*p_j for j <= i, at most 1. A question is answered at
// level alpha if its adjusted value is at most alpha.
//
// A nil entry is a question without a p value. It counts in the family as if its p were 1, and its
// adjusted value is nil too.
func Holm(p []*float64) []*float64 {
	order := make([]int, 0, len(p))
	for i, v := range p {
		if v != nil {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case *p[a] < *p[b]:
			return -1
		case *p[a] > *p[b]:
			return 1
		}
		return 0
	})
	adjusted := make([]*float64, len(p))
	greatest := 0.0
	for rank, i := range order {
		factor := float64(len(p) - rank)
		greatest = max(greatest, min(1, factor*(*p[i])))
		value := greatest
		adjusted[i] = &value
	}
	return adjusted
}
