package text

import (
	"bytes"
	"encoding"
	"encoding/json"
	"fmt"
	"reflect"
	"strings"
)

// MarshalFigures writes v as JSON as encoding/json does, tags and all, but every number as a [Number]: what the domain
// does not know, NaN, is null. So types of the domain can be answered as they are. Maps, and types with a MarshalJSON or
// MarshalText of their own, are left to encoding/json.
func MarshalFigures(v any) ([]byte, error) {
	var b bytes.Buffer
	err := writeFigures(&b, reflect.ValueOf(v))
	return b.Bytes(), err
}

func writeFigures(b *bytes.Buffer, v reflect.Value) error {
	if !v.IsValid() {
		b.WriteString("null")
		return nil
	}
	switch v.Interface().(type) {
	case json.Marshaler, encoding.TextMarshaler:
		return writePlain(b, v.Interface())
	}
	switch v.Kind() {
	case reflect.Float32, reflect.Float64:
		return writePlain(b, Number(v.Float()))
	case reflect.Pointer, reflect.Interface:
		return writeFigures(b, v.Elem())
	case reflect.Struct:
		return writeStruct(b, v)
	case reflect.Slice, reflect.Array:
		if v.Kind() == reflect.Slice && (v.IsNil() || v.Type().Elem().Kind() == reflect.Uint8) {
			return writePlain(b, v.Interface())
		}
		b.WriteByte('[')
		for i := range v.Len() {
			if i > 0 {
				b.WriteByte(',')
			}
			if err := writeFigures(b, v.Index(i)); err != nil {
				return err
			}
		}
		b.WriteByte(']')
		return nil
	}
	return writePlain(b, v.Interface())
}

func writePlain(b *bytes.Buffer, v any) error {
	text, err := json.Marshal(v)
	b.Write(text)
	return err
}

// writeStruct writes the fields that encoding/json would: the outer one of those of a name, embedded structs as if
// their fields were the outer one's own.
func writeStruct(b *bytes.Buffer, v reflect.Value) error {
	b.WriteByte('{')
	first := true
	for _, f := range reflect.VisibleFields(v.Type()) {
		name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
		if !f.IsExported() || name == "-" || f.Anonymous && name == "" || len(f.Index) > 1 && shadowed(v.Type(), f) {
			continue
		}
		if name == "" {
			name = f.Name
		}
		field, err := v.FieldByIndexErr(f.Index)
		if err != nil || options == "omitempty" && field.IsZero() {
			continue
		}
		if !first {
			b.WriteByte(',')
		}
		first = false
		fmt.Fprintf(b, "%q:", name)
		if err := writeFigures(b, field); err != nil {
			return err
		}
	}
	b.WriteByte('}')
	return nil
}

// shadowed tells whether a field of an embedded struct is hidden by another of its Go name.
func shadowed(t reflect.Type, f reflect.StructField) bool {
	seen, ok := t.FieldByName(f.Name)
	return !ok || len(seen.Index) < len(f.Index)
}
