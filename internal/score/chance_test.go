package score

import (
	"fmt"
	"math"
	"testing"
)

// numbers gives quantiles of a normal distribution as values, each a cook of its own or each several times in one cook.
func numbers(n, times int) (cooks []string, values []float64) {
	for i := range n {
		for range times {
			cooks = append(cooks, fmt.Sprint(i))
			values = append(values, 100+20*math.Sqrt2*math.Erfinv(2*(float64(i)+0.5)/float64(n)-1))
		}
	}
	return cooks, values
}

// The mean of n independent numbers of standard deviation s lies within 1.96 s/√n in 95 of 100 repetitions (textbook).
func TestChanceOfMean_IsThatOfTheTextbook(t *testing.T) {
	cooks, values := numbers(400, 1)
	r := ChanceOfMean(cooks, values)
	if math.Abs(r.Low-(100-1.96)) > 0.2 || math.Abs(r.High-(100+1.96)) > 0.2 {
		t.Errorf("mean in %.2f to %.2f, want 98.04 to 101.96", r.Low, r.High)
	}
}

// Four forecasts of one cook that err alike are worth one: the range must not shrink by half.
func TestChanceOfMean_ForecastsOfACookAreNotIndependent(t *testing.T) {
	one, four := ChanceOfMean(numbers(100, 1)), ChanceOfMean(numbers(100, 4))
	if math.Abs((four.High-four.Low)/(one.High-one.Low)-1) > 1e-9 {
		t.Errorf("with four each %.2f to %.2f, with one %.2f to %.2f: want the same", four.Low, four.High, one.Low, one.High)
	}
}

// The median of n numbers of standard deviation s has a standard error near 1.2533 s/√n (textbook, large n, normal).
func TestTally_ChanceOfTheMedian(t *testing.T) {
	var tally Tally
	cooks, values := numbers(400, 1)
	for _, v := range values {
		tally.Add(Quantiles{}, v) // all quantiles 0: the error and the CRPS are the value
	}
	c := tally.Chance(cooks)
	if half := 1.96 * 1.2533; math.Abs(c.MedianError.High-c.MedianError.Low-2*half) > 0.6 || math.Abs(c.CRPS.High-c.CRPS.Low-2*1.96) > 0.4 {
		t.Errorf("%+v, want the median within about %.1f and the CRPS within 1.96 of 100", c, half)
	}
	if again := tally.Chance(cooks); again != c {
		t.Errorf("%+v the second time, %+v the first", again, c)
	}
}

func TestTally_ChanceOfFewCooksIsUnknown(t *testing.T) {
	cooks, values := numbers(5, 3)
	if r := ChanceOfMean(cooks, values); !math.IsNaN(r.Low) || !math.IsNaN(r.High) {
		t.Errorf("of five cooks %+v, want NaN", r)
	}
}
