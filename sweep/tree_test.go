package sweep

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/objective"
)

// TestHalveItems compares the selection with a sort.
func TestHalveItems(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		keys := rapid.SliceOfN(rapid.IntRange(0, 6), 1, 60).Draw(t, "keys")
		items := make([]int32, len(keys))
		for i := range items {
			items[i] = int32(i)
		}
		items = rapid.Permutation(items).Draw(t, "items")
		less := func(a, b int32) bool { return keys[a] < keys[b] || keys[a] == keys[b] && a < b }
		sorted := slices.Clone(items)
		slices.SortFunc(sorted, func(a, b int32) int {
			if less(a, b) {
				return -1
			}
			return 1
		})
		halveItems(items, less)
		middle := len(items) / 2
		for half, want := range [][]int32{sorted[:middle], sorted[middle:]} {
			got := slices.Clone([][]int32{items[:middle], items[middle:]}[half])
			slices.Sort(got)
			want = slices.Clone(want)
			slices.Sort(want)
			if !slices.Equal(got, want) {
				t.Fatalf("half %d is %v, by sorting %v", half, got, want)
			}
		}
	})
}

// TestTreeHoldsEverything: each item lies in one leaf, inside the boxes of all
// nodes above it.
func TestTreeHoldsEverything(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 200).Draw(t, "n")
		boxes := make([]objective.Box, n)
		for i := range boxes {
			f := rapid.Float64Range(5, 200).Draw(t, "f")
			lo := rapid.Float64Range(-100, 100).Draw(t, "lo")
			boxes[i] = objective.Box{
				F: objective.Interval{Lo: f, Hi: f}, Length: rapid.Float64Range(-50, 300).Draw(t, "u"),
				I: objective.Interval{Lo: lo, Hi: lo + rapid.Float64Range(0, 50).Draw(t, "width")},
			}
		}
		tree := buildTree(2, n, leafSize, func(i int) objective.Box { return boxes[i] }, endKeys)
		seen := make([]int, n)
		for _, node := range tree.nodes {
			for _, i := range tree.order[node.first:node.last] {
				if node.box.Around(&boxes[i]) != node.box {
					t.Fatalf("item %d lies outside of a box that holds it", i)
				}
				if node.left == 0 {
					seen[i]++
				}
			}
		}
		for i, times := range seen {
			if times != 1 {
				t.Fatalf("item %d lies in %d leaves", i, times)
			}
		}
	})
}
