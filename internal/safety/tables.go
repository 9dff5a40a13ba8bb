package safety

import "time"

// Row is one line of a dwell table: at or above Fahrenheit for Dwell. A zero dwell is reached at once.
type Row struct {
	Fahrenheit float64
	Dwell      time.Duration
}

// Table is a published dwell table, ascending by temperature.
type Table struct {
	Name   string
	Source string
	Rows   []Row
}

const (
	fsisMeat = "USDA FSIS Cooking Guideline for Meat and Poultry Products (Revised Appendix A), FSIS-GD-2021-14, Table 2; rows as printed in Appendix A, 1999"
	fsisBird = "USDA FSIS Cooking Guideline for Meat and Poultry Products (Revised Appendix A), FSIS-GD-2021-14, Tables 3 and 4"
	foodCode = "FDA Food Code 2022"
)

func minutes(n float64) time.Duration { return time.Duration(n * float64(time.Minute)) }
func seconds(n float64) time.Duration { return time.Duration(n * float64(time.Second)) }

// Meat65 is the 6.5-log Salmonella column for whole meat.
func Meat65() Table {
	return Table{"6.5 log", fsisMeat, []Row{
		{130, minutes(112)}, {131, minutes(89)}, {132, minutes(71)}, {133, minutes(56)}, {134, minutes(45)}, {135, minutes(36)},
		{136, minutes(28)}, {137, minutes(23)}, {138, minutes(18)}, {139, minutes(15)}, {140, minutes(12)}, {141, minutes(9)},
		{142, minutes(8)}, {143, minutes(6)}, {144, minutes(5)}, {145, minutes(4)}, {146, seconds(169)}, {147, seconds(134)},
		{148, seconds(107)}, {149, seconds(85)}, {150, seconds(67)}, {151, seconds(54)}, {152, seconds(43)}, {153, seconds(34)},
		{154, seconds(27)}, {155, seconds(22)}, {156, seconds(17)}, {157, seconds(14)}, {158, 0},
	}}
}

// Meat7 is the 7-log Salmonella column for whole meat. It is irregular as printed; it is not recomputed from a line.
func Meat7() Table {
	return Table{"7 log", fsisMeat, []Row{
		{130, minutes(121)}, {131, minutes(97)}, {132, minutes(77)}, {133, minutes(62)}, {134, minutes(47)}, {135, minutes(37)},
		{136, minutes(32)}, {137, minutes(24)}, {138, minutes(19)}, {139, minutes(15)}, {140, minutes(12)}, {141, minutes(10)},
		{142, minutes(8)}, {143, minutes(6)}, {144, minutes(5)}, {145, minutes(4)}, {146, seconds(182)}, {147, seconds(144)},
		{148, seconds(115)}, {149, seconds(91)}, {150, seconds(72)}, {151, seconds(58)}, {152, seconds(46)}, {153, seconds(37)},
		{154, seconds(29)}, {155, seconds(23)}, {156, seconds(19)}, {157, seconds(15)}, {158, 0},
	}}
}

// Roast is 3-401.11(B)(2) of the Food Code for whole meat roasts.
func Roast() Table {
	return Table{"whole roasts", foodCode + " 3-401.11(B)(2)", []Row{
		{130, minutes(112)}, {131, minutes(89)}, {133, minutes(56)}, {135, minutes(36)}, {136, minutes(28)}, {138, minutes(18)},
		{140, minutes(12)}, {142, minutes(8)}, {144, minutes(5)}, {145, minutes(4)}, {147, seconds(134)}, {149, seconds(85)},
		{151, seconds(54)}, {153, seconds(34)}, {155, seconds(22)}, {157, seconds(14)}, {158, 0},
	}}
}

// Opened is 3-401.11(A)(2): ground, injected or mechanically tenderized meat. Codes before 2017 say 15 s at 155 °F.
func Opened() Table {
	return Table{"ground, injected or tenderized", foodCode + " 3-401.11(A)(2)", []Row{
		{145, minutes(3)}, {150, minutes(1)}, {155, seconds(17)}, {158, 0},
	}}
}

// Fish is 3-401.11(A)(1).
func Fish() Table {
	return Table{"fish", foodCode + " 3-401.11(A)(1)", []Row{{145, seconds(15)}}}
}

// BirdPoint is 3-401.11(A)(3): poultry, reached at once. Codes before 2017 say 15 s.
func BirdPoint() Table {
	return Table{"poultry", foodCode + " 3-401.11(A)(3)", []Row{{165, 0}}}
}

// leanRows says which rows of the columns for lean poultry were written down without the publication at hand.
const leanRows = " (rows at 137 to 139, 141 to 144 and 165 °F, 58.3 to 59.4, 60.6 to 62.2 and 73.9 °C, from memory)"

// chicken7 is the 7-log table for chicken at 1 or 12 % fat, as far as its rows are known; a missing row falls to the next lower.
// Rows of the 1 % column at 137–139 and 141–144 °F are from memory.
func chicken7(lean bool) Table {
	t := Table{"7 log, chicken of 12 % fat or unknown", fsisBird + " (the row at 165 °F, 73.9 °C, from memory)", []Row{
		{136, minutes(81.4)}, {137, minutes(65.5)}, {138, minutes(52.9)}, {139, minutes(43)}, {140, minutes(35)}, {141, minutes(28.7)},
		{142, minutes(23.7)}, {143, minutes(19.8)}, {144, minutes(16.6)}, {160, seconds(26.9)}, {165, seconds(10)},
	}}
	if lean {
		t = Table{"7 log, chicken of 1 % fat", fsisBird + leanRows, []Row{
			{136, minutes(63.3)}, {137, minutes(50.1)}, {138, minutes(39.7)}, {139, minutes(31.6)}, {140, minutes(25.2)}, {141, minutes(20.1)},
			{142, minutes(16.1)}, {143, minutes(13)}, {144, minutes(10.4)}, {145, minutes(8.4)}, {150, minutes(2.7)}, {155, seconds(44.2)},
			{160, seconds(13.7)}, {165, seconds(10)},
		}}
	}
	return t
}

// turkey7 is the 7-log table for turkey of 1 % fat; rows at 137–139 and 141–144 °F are from memory. For another or unknown
// fat no column is known: only 165 °F stands.
func turkey7(lean bool) Table {
	if !lean {
		return Table{"7 log, turkey of unknown fat", fsisBird + " (the row at 165 °F, 73.9 °C, from memory)", []Row{{165, seconds(10)}}}
	}
	return Table{"7 log, turkey of 1 % fat", fsisBird + leanRows, []Row{
		{136, minutes(64)}, {137, minutes(51.9)}, {138, minutes(42.2)}, {139, minutes(34.4)}, {140, minutes(28.1)}, {141, minutes(23)},
		{142, minutes(18.9)}, {143, minutes(15.5)}, {144, minutes(12.8)}, {145, minutes(10.5)}, {150, minutes(3.8)}, {155, minutes(1.2)},
		{160, seconds(25.6)}, {165, seconds(10)},
	}}
}

// Stage is one leg of a cooling rule: from one temperature to another within a time that counts from the rule's start.
type Stage struct {
	FromF, ToF float64
	Within     time.Duration
}

// CoolingRule is a published cooling limit. Each stage's time counts from the last reading at or above its own start.
type CoolingRule struct {
	Name      string
	Source    string
	Stages    []Stage
	Condition string
}

const fsisChill = "USDA FSIS Stabilization Guideline (Revised Appendix B), FSIS-GD-2021-13; stages as in Appendix B, 1999"

// CoolingFoodCode is the two-stage rule of the Food Code.
func CoolingFoodCode() CoolingRule {
	return CoolingRule{Name: "two-stage cooling", Source: foodCode + " 3-501.14",
		Stages: []Stage{{135, 70, 2 * time.Hour}, {135, 41, 6 * time.Hour}}}
}

// Cooling1 is option 1: any cooked product.
func Cooling1() CoolingRule {
	return CoolingRule{Name: "option 1", Source: fsisChill,
		Stages: []Stage{{130, 80, 90 * time.Minute}, {80, 40, 5 * time.Hour}}}
}

// Cooling2 is option 2: 120 to 55 °F in 6 h, of which 120 to 80 °F in 1 h, and on to 40 °F before packing.
func Cooling2() CoolingRule {
	return CoolingRule{Name: "option 2", Source: fsisChill,
		Stages:    []Stage{{120, 80, time.Hour}, {120, 55, 6 * time.Hour}},
		Condition: "chilling must begin within 90 minutes of the end of cooking and go on to 40 °F (4.4 °C) before packing"}
}

// CoolingCured is option 3 for cured products; its times are from memory, and 45 °F is the 1999 figure (one sheet prints 40).
func CoolingCured() CoolingRule {
	return CoolingRule{Name: "option 3, cured", Source: fsisChill,
		Stages:    []Stage{{130, 80, 5 * time.Hour}, {80, 45, 10 * time.Hour}},
		Condition: "only with at least 100 ppm ingoing nitrite, and 250 ppm erythorbate or ascorbate in the 2021 edition"}
}

// CoolingSlow is option 4 for cured whole muscle, from memory: 120 to 40 °F in 20 h, falling all the time.
func CoolingSlow() CoolingRule {
	return CoolingRule{Name: "option 4, slow, cured whole muscle", Source: fsisChill,
		Stages: []Stage{{120, 40, 20 * time.Hour}},
		Condition: "only with a brine of at least 3.5 % and 120 ppm nitrite, or 6 % and 40 ppm (Directive 7110.3); the fall must be continuous, " +
			"and the surface not between 120 and 68 °F (48.9 and 20 °C) for more than 2 h, which a probe in the middle does not show"}
}
