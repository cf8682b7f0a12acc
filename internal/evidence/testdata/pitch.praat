# Median pitch by Praat's autocorrelation method over a span of time, in Hz.
form Read a pitch
  text file
  real floor
  real ceiling
  real begin
  real finish
endform
Read from file: file$
To Pitch (ac): 0.01, floor, 15, "yes", 0.03, 0.45, 0.01, 0.35, 0.14, ceiling
hz = Get quantile: begin, finish, 0.5, "Hertz"
writeInfoLine: hz
