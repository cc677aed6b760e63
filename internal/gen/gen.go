// Package gen holds what `make proto` makes from the contract in proto/.
package gen

import _ "embed"

// OpenAPI describes the JSON side of the contract, as OpenAPI 3.1 in JSON.
//
//go:embed openapi.json
var OpenAPI []byte
