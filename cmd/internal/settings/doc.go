// Package settings gathers what a person may set for the commands from four
// places and hands it on as one struct. It is shared by cmd/ingest and
// cmd/report, so that one file and one environment serve both; nothing below
// cmd sees it, nor viper.
//
// From weak to strong:
//
//  1. the defaults in table.go;
//  2. a YAML file: the one named by --config or HINDCHECK_CONFIG, else
//     hindcheck.yaml in the working folder where it exists;
//  3. variables HINDCHECK_NAME of the environment, with _ for -;
//  4. flags.
//
// Settings are flat and typed. A key of the file or a HINDCHECK_ variable that
// is not in the table is an error, because a misspelt limit that is silently
// ignored would change a safety figure. Mappings, rules and case definitions
// are files of their own and never pass through here, since viper lower-cases
// keys and coerces types.
//
// A command adds the flags that it honours with AddFlags, by name, and calls
// Load with the parsed flags. Start reading at Load.
package settings
