package pipeline

// Plainly makes a load write every file the plain way, through DuckDB.
func Plainly(opt LoadOptions) LoadOptions {
	opt.plain = true
	return opt
}
