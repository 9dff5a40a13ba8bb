package api

// ReadingDoc is a reading as the API gives it.
type ReadingDoc = readingDoc

// ReadingDocOf makes one.
var ReadingDocOf = readingDocOf
