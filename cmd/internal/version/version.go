// Package version names the program's version, for manifests and pages.
package version

import "runtime/debug"

// String returns the module's version, or "development" for a build from a
// working tree.
func String() string {
	info, ok := debug.ReadBuildInfo()
	if !ok || info.Main.Version == "" || info.Main.Version == "(devel)" {
		return "hindcheck development"
	}
	return "hindcheck " + info.Main.Version
}
