// Package openapi holds the description of every request (OpenAPI 3.1). It is apart from bench, as a browser fetches it
// as a file.
package openapi

import _ "embed"

// Description is the document, JSON.
//
//go:embed openapi.json
var Description []byte
