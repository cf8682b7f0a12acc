package report

// SampleReport is for the tests of what writes reports, which this package cannot import.
var SampleReport = sampleReport
