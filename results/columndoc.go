package results

import (
	"github.com/apache/arrow/go/v15/arrow"
)

// ColumnDoc is what stands in a file about one of its columns.
type ColumnDoc struct {
	Name        string // of a column in a list behind the list's, as lenses.part
	Unit        string // empty for none
	Description string
}

// RankedColumnDocs are the columns of ranked.parquet but for the swept keys.
func RankedColumnDocs() []ColumnDoc { return docsOf(nil, "", fieldsOf(designColumns)) }

// SetpointColumnDocs are the columns of setpoints.parquet.
func SetpointColumnDocs() []ColumnDoc { return docsOf(nil, "", fieldsOf(setpointColumns)) }

func docsOf(docs []ColumnDoc, list string, fields []arrow.Field) []ColumnDoc {
	for _, f := range fields {
		unit, _ := f.Metadata.GetValue("unit")
		description, _ := f.Metadata.GetValue("description")
		if unit == unitOne || unit == unitNone {
			unit = ""
		}
		docs = append(docs, ColumnDoc{Name: list + f.Name, Unit: unit, Description: description})
		if of, is := f.Type.(*arrow.ListType); is {
			if element, is := of.Elem().(*arrow.StructType); is {
				docs = docsOf(docs, list+f.Name+".", element.Fields())
			}
		}
	}
	return docs
}
