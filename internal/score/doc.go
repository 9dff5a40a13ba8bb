// Package score judges ready-time forecasts by what happened: how far off, how wide, how honest.
//
// A forecast is seven quantiles of the minutes until a piece is ready; the truth is a number of minutes. From many such
// pairs a Tally gives median and mean absolute error, the continuous ranked probability score (CRPS), the mean pinball
// loss, how often the 50 % and 80 % bands held the truth, and a histogram of where in the forecast the truth fell
// (probability integral transform). CRPS and pinball loss are proper: no forecaster gains by stating anything but what
// it believes (Gneiting & Raftery 2007, Journal of the American Statistical Association 102:359).
//
// Three baselines stand beside: a straight line, Newton's law of heating and the rule of minutes per kilogram. Values in
// and values out, minutes and degrees Celsius; the package reads no clock and does no I/O.
package score
