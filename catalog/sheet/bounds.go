package sheet

// Bounds of a sheet. What is beyond them is another file, or made to do harm.
const (
	// FileBytesMost is the size of a sheet's file in bytes.
	FileBytesMost = 256 << 20
	// columnsMost is the number of columns, as in a lens table.
	columnsMost = 500
	// cellBytesMost is the length of a cell in bytes.
	cellBytesMost = 64 << 10
	// rowBytesMost is the length of a line, and half of that of a row.
	rowBytesMost = 256 << 10
)
