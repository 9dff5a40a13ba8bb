// Package convert turns what a cheap probe gives – ohms, volts, millivolts or the raw word of a chip – into degrees
// Celsius, and back.
//
// Thermistors (Steinhart–Hart or four-term coefficients, β, a fit through measured points, a table), platinum sensors
// (IEC 60751), thermocouples K, J, T, N, E (the ITS-90 reference functions, cold junction added in millivolts), the
// registers of the DS18B20, MAX31855 and MAX6675, and the divider in front of a resistive sensor. Spec bundles one
// probe's settings as they stand in a TOML file.
//
// Every conversion is a pure function of its arguments. Nothing is extrapolated silently: a value outside the range of a
// formula is an error that names the range, and no result is NaN or infinite. Sources stand beside each table; those that
// say "from memory" could not be checked against the publication and are held together by independent check values.
package convert
