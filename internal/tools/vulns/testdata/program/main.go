// Command program calls one function of the standard library.
package main

import (
	"fmt"
	"net/url"
)

func main() {
	u, err := url.Parse("http://localhost")
	fmt.Println(u, err)
}
