package figure_test

import (
	"tunerd/internal/display/figure"
	"tunerd/internal/display/figure/pdf"
)

func init() { figure.WriteTemplatePDF = pdf.WriteTemplate }
