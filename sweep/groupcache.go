package sweep

import (
	"sync"

	"relaysweep/objective"
)

// groupCache remembers groups by their codes: the same few thousand of them make up the
// trains of a window. It may be asked from several goroutines.
type groupCache struct {
	lib    *objective.Library
	shards [groupShards]struct {
		sync.RWMutex
		known map[objective.StackCode]*objective.Group
	}
}

// groupShards keeps workers out of each other's way, and groupsKept bounds what is
// remembered in each: some 50 MB in all. What is forgotten is made again.
const (
	groupShards = 64
	groupsKept  = 1 << 11
)

func newGroupCache(lib *objective.Library) *groupCache {
	c := &groupCache{lib: lib}
	for i := range c.shards {
		c.shards[i].known = map[objective.StackCode]*objective.Group{}
	}
	return c
}

// group is the group that a code names.
func (c *groupCache) group(code objective.StackCode) *objective.Group {
	shard := &c.shards[mix(uint64(code))%groupShards]
	shard.RLock()
	g := shard.known[code]
	shard.RUnlock()
	if g != nil {
		return g
	}
	g = c.lib.Group(code)
	shard.Lock()
	if len(shard.known) >= groupsKept {
		clear(shard.known)
	}
	shard.known[code] = g
	shard.Unlock()
	return g
}
