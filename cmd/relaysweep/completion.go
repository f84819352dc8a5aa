package main

import (
	"fmt"
	"runtime/debug"
	"slices"
	"strings"

	"github.com/spf13/cobra"
)

// completed are the arguments of commands that a shell completes: files of some
// kinds, folders, or names. Where there are both, a folder comes first.
var completed = map[string]struct {
	extensions []string
	folders    bool
	names      func() []string
}{
	"run":            {extensions: []string{"toml"}},
	"check":          {extensions: []string{"toml"}},
	"init":           {extensions: []string{"toml"}},
	"show":           {folders: true},
	"merge":          {folders: true},
	"report":         {folders: true},
	"setpoints":      {folders: true},
	"compare":        {folders: true},
	"tolerance":      {folders: true},
	"calibrate":      {folders: true, extensions: []string{"csv"}}, // an output, then what was measured
	"help":           {names: func() []string { return strings.Split(topicNames(), ", ") }},
	"catalog import": {extensions: []string{"csv", "tsv", "txt", "xlsx"}},
	"catalog check":  {extensions: []string{"csv"}},
	"catalog list":   {extensions: []string{"csv"}},
}

// completedFlags are the kinds of files that flags take.
var completedFlags = map[string][]string{
	"map":     {"toml"},
	"output":  {"csv"},
	"glasses": {"csv"},
}

// completeArguments tells the shell what arguments and flags stand for. The
// command completion prints the scripts.
func completeArguments(root *cobra.Command) {
	var visit func(c *cobra.Command)
	visit = func(c *cobra.Command) {
		name := strings.TrimPrefix(c.CommandPath(), root.Name()+" ")
		if what, ok := completed[name]; ok {
			c.ValidArgsFunction = func(_ *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
				switch {
				case what.names != nil:
					if len(args) > 0 {
						return nil, cobra.ShellCompDirectiveNoFileComp
					}
					names := what.names()
					for _, other := range root.Commands() {
						if other.IsAvailableCommand() {
							names = append(names, other.Name())
						}
					}
					names = slices.DeleteFunc(names, func(n string) bool { return !strings.HasPrefix(n, begun) })
					slices.Sort(names)
					return slices.Compact(names), cobra.ShellCompDirectiveNoFileComp
				case what.folders && (len(args) == 0 || what.extensions == nil):
					return nil, cobra.ShellCompDirectiveFilterDirs
				}
				return what.extensions, cobra.ShellCompDirectiveFilterFileExt
			}
		}
		for flag, extensions := range completedFlags {
			if c.Flags().Lookup(flag) != nil {
				_ = c.MarkFlagFilename(flag, extensions...) // fails only without such a flag
			}
		}
		for _, below := range c.Commands() {
			visit(below)
		}
	}
	root.InitDefaultHelpCmd()
	visit(root)
}

// versionText is what --version prints: the program's, and of what it is built.
func versionText() string {
	var b strings.Builder
	fmt.Fprintf(&b, "relaysweep %s\n", version)
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return b.String()
	}
	fmt.Fprintf(&b, "built with %s", info.GoVersion)
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" || s.Key == "vcs.modified" && s.Value == "true" {
			fmt.Fprintf(&b, ", %s %s", strings.TrimPrefix(s.Key, "vcs."), s.Value)
		}
	}
	b.WriteString("\n")
	width := 0
	for _, m := range info.Deps {
		width = max(width, len(m.Path))
	}
	for _, m := range info.Deps {
		of := m
		if m.Replace != nil {
			of = m.Replace
		}
		fmt.Fprintf(&b, "  %-*s  %s\n", width, m.Path, of.Version)
	}
	return b.String()
}
