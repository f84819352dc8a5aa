package results

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
)

// SweptValue is a swept key and its value at a sweep point.
type SweptValue struct {
	Key   string
	Value Value
}

// SweptValues is written as a JSON object whose keys stand in the order of the
// sweep. A number always has a decimal point or an exponent and an integer
// never has, so that kinds survive; JSON has no infinity, which is written as
// the string "inf" or "-inf" and read back as a number.
type SweptValues []SweptValue

// MarshalJSON writes the object.
func (vs SweptValues) MarshalJSON() ([]byte, error) {
	out := []byte{'{'}
	for i, v := range vs {
		if i > 0 {
			out = append(out, ',')
		}
		key, err := marshal(v.Key)
		if err != nil {
			return nil, err
		}
		out = append(append(out, key...), ':')
		value, err := marshalValue(v.Value)
		if err != nil {
			return nil, fmt.Errorf("values: %s %w", v.Key, err)
		}
		out = append(out, value...)
	}
	return append(out, '}'), nil
}

func marshalValue(v Value) ([]byte, error) {
	switch {
	case v.kind != KindFloat:
		return marshal(v.Any())
	case math.IsNaN(v.number):
		return nil, errNaN
	case math.IsInf(v.number, 0):
		return marshal(v.String())
	}
	digits, err := marshal(v.number)
	if err == nil && !bytes.ContainsAny(digits, ".e") {
		digits = append(digits, ".0"...)
	}
	return digits, err
}

// UnmarshalJSON reads the object, keys in their order.
func (vs *SweptValues) UnmarshalJSON(data []byte) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber()
	open, err := d.Token()
	if err != nil {
		return err
	}
	if open != json.Delim('{') {
		return fmt.Errorf("values: has to be an object of swept keys")
	}
	*vs = nil
	for d.More() {
		key, err := d.Token()
		if err != nil {
			return err
		}
		token, err := d.Token()
		if err != nil {
			return err
		}
		value, err := unmarshalValue(token)
		if err != nil {
			return fmt.Errorf("values: %v: %w", key, err)
		}
		*vs = append(*vs, SweptValue{Key: key.(string), Value: value})
	}
	_, err = d.Token()
	return err
}

func unmarshalValue(token json.Token) (Value, error) {
	switch t := token.(type) {
	case string:
		switch t {
		case "inf":
			return FloatValue(math.Inf(1)), nil
		case "-inf":
			return FloatValue(math.Inf(-1)), nil
		}
		return StringValue(t), nil
	case json.Number:
		if n, err := t.Int64(); err == nil {
			return IntValue(n), nil
		}
		x, err := t.Float64()
		return FloatValue(x), err
	}
	return Value{}, fmt.Errorf("%v is neither a number nor a string", token)
}

// marshal is json.Marshal without the escapes that only HTML needs.
func marshal(v any) ([]byte, error) {
	var out bytes.Buffer
	e := json.NewEncoder(&out)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(out.Bytes(), []byte("\n")), nil
}
