package estimator

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Trees is a sum of small regression trees, fitted one after the other to what the earlier ones leave (gradient
// boosting with squared error; Friedman 2001, from memory).
type Trees struct {
	Nodes []Node // all trees, one after another
	Roots []int  // where each tree begins
}

// Node is a split or a leaf of a tree. Low and High are the places of its children in Nodes.
type Node struct {
	Feature   int     `json:"f"` // -1 = leaf
	Threshold float64 `json:"t,omitempty"`
	Low       int     `json:"l,omitempty"` // at or below the threshold
	High      int     `json:"h,omitempty"`
	Value     float64 `json:"v,omitempty"` // of a leaf
}

// at is the sum over the trees for one row of features. A feature that is not a number goes low.
func (t *Trees) at(x []float64) (sum float64) {
	for _, root := range t.Roots {
		n := &t.Nodes[root]
		for n.Feature >= 0 {
			if x[n.Feature] > n.Threshold {
				n = &t.Nodes[n.High]
			} else {
				n = &t.Nodes[n.Low]
			}
		}
		sum += n.Value
	}
	return sum
}

// boosting says how trees are grown.
type boosting struct {
	rounds, depth, leaf int
	rate, sample        float64
	ridge               float64
	seed                uint64
}

// bins is the number of candidate thresholds of a feature.
const bins = 24

// binned is a table of features sorted into quantile bins.
type binned struct {
	of    [][]uint8 // by row
	edges [][]float64
}

func bin(x [][]float64) binned {
	b := binned{of: make([][]uint8, len(x)), edges: make([][]float64, len(x[0]))}
	for i := range x {
		b.of[i] = make([]uint8, len(x[0]))
	}
	column := make([]float64, len(x))
	for f := range x[0] {
		for i := range x {
			column[i] = x[i][f]
		}
		slices.Sort(column)
		for k := 1; k < bins; k++ {
			lo := k * len(column) / bins
			edge := column[lo]
			if n := len(b.edges[f]); edge < column[len(column)-1] && (n == 0 || edge > b.edges[f][n-1]) {
				b.edges[f] = append(b.edges[f], edge)
			}
		}
		for i := range x {
			for k, edge := range b.edges[f] {
				if x[i][f] > edge {
					b.of[i][f] = uint8(k + 1)
				}
			}
		}
	}
	return b
}

// grow fits trees to y. group names the cook of each row: whole cooks are sampled for a tree.
func (b boosting) grow(x [][]float64, y, weight []float64, group []int) Trees {
	var t Trees
	table := bin(x)
	rest := slices.Clone(y)
	rng := rand.New(rand.NewPCG(b.seed, 7))
	groups := slices.Max(group) + 1
	for range b.rounds {
		in := make([]bool, groups)
		for i := range in {
			in[i] = rng.Float64() < b.sample
		}
		var rows []int
		for i := range x {
			if in[group[i]] {
				rows = append(rows, i)
			}
		}
		features := rng.Perm(len(x[0]))[:max(len(x[0])/2, 1)]
		t.Roots = append(t.Roots, len(t.Nodes))
		b.split(&t, &table, rest, weight, rows, features, b.depth)
		last := Trees{t.Nodes, t.Roots[len(t.Roots)-1:]}
		for i := range rest {
			rest[i] -= last.at(x[i])
		}
	}
	return t
}

// split adds a node for rows and gives its place.
func (b boosting) split(t *Trees, table *binned, rest, weight []float64, rows, features []int, depth int) int {
	var sum, total float64
	for _, r := range rows {
		sum += weight[r] * rest[r]
		total += weight[r]
	}
	place := len(t.Nodes)
	t.Nodes = append(t.Nodes, Node{Feature: -1, Value: round4(b.rate * sum / (total + b.ridge))})
	if depth == 0 || len(rows) < 2*b.leaf {
		return place
	}
	best, bestFeature, bestBin := 1e-9, -1, 0
	base := sum * sum / (total + b.ridge)
	for _, f := range features {
		var sums, totals [bins]float64
		var counts [bins]int
		for _, r := range rows {
			k := table.of[r][f]
			sums[k] += weight[r] * rest[r]
			totals[k] += weight[r]
			counts[k]++
		}
		var lowSum, lowTotal float64
		low := 0
		for k := range table.edges[f] {
			lowSum += sums[k]
			lowTotal += totals[k]
			low += counts[k]
			if low < b.leaf || len(rows)-low < b.leaf {
				continue
			}
			highSum, highTotal := sum-lowSum, total-lowTotal
			gain := lowSum*lowSum/(lowTotal+b.ridge) + highSum*highSum/(highTotal+b.ridge) - base
			if gain > best {
				best, bestFeature, bestBin = gain, f, k
			}
		}
	}
	if bestFeature < 0 {
		return place
	}
	var low, high []int
	for _, r := range rows {
		if int(table.of[r][bestFeature]) > bestBin {
			high = append(high, r)
		} else {
			low = append(low, r)
		}
	}
	l := b.split(t, table, rest, weight, low, features, depth-1)
	h := b.split(t, table, rest, weight, high, features, depth-1)
	t.Nodes[place] = Node{Feature: bestFeature, Threshold: table.edges[bestFeature][bestBin], Low: l, High: h}
	return place
}

func round4(v float64) float64 { return math.Round(v*1e4) / 1e4 }
