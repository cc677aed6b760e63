//go:build js && wasm

// Command wasm is package measure for the web app. internal/tools/webbuild
// compiles it; pwa/src/worker/measure.ts loads it and calls the functions
// that it sets.
package main

import (
	"encoding/json"
	"image"
	"syscall/js"

	"warmhand/internal/measure"
)

func main() {
	// readCode(width, height, rgba): its text in JSON, or "null".
	set("readCode", func(picture *image.Gray, _ []js.Value) (any, error) {
		text, err := measure.Read(picture)
		if err == measure.ErrNoCode {
			return nil, nil
		}
		return text, err
	})
	// findCode(width, height, rgba): the code in JSON, or "null".
	set("findCode", func(picture *image.Gray, _ []js.Value) (any, error) {
		code, err := measure.Find(picture)
		if err == measure.ErrNoCode {
			return nil, nil
		}
		return code, err
	})
	// measureOpening(width, height, rgba, question): the answer in JSON.
	set("measureOpening", func(picture *image.Gray, more []js.Value) (any, error) {
		return measure.Ask(picture, []byte(more[0].String()))
	})
	select {} // the functions stay
}

// set makes a function of a picture known to the worker. It answers with JSON;
// {"error": "..."} is of a question that cannot be read.
func set(name string, f func(picture *image.Gray, more []js.Value) (any, error)) {
	js.Global().Set(name, js.FuncOf(func(_ js.Value, args []js.Value) any {
		rgba := image.NewNRGBA(image.Rect(0, 0, args[0].Int(), args[1].Int()))
		js.CopyBytesToGo(rgba.Pix, args[2])
		answer, err := f(measure.Luma(rgba), args[3:])
		if err != nil {
			answer = map[string]string{"error": err.Error()}
		}
		text, err := json.Marshal(answer)
		if err != nil {
			panic(err) // numbers that are not finite: Measure lets none out
		}
		return string(text)
	}))
}
