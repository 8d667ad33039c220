package store

import (
	"fmt"

	"golang.org/x/sys/unix"
)

// networkMagic are the file system numbers of statfs(2) on which neither
// flock nor the order of a sync and a rename can be relied on.
var networkMagic = map[int64]string{
	0x6969:     "NFS",
	0x517B:     "SMB",
	0xFE534D42: "SMB2",
	0xFF534D42: "CIFS",
	0x5346414F: "AFS",
	0x00C36400: "Ceph",
	0x01021997: "9P",
}

// refuseNetwork returns an error if dir lies on a network file system.
func refuseNetwork(dir string) error {
	var st unix.Statfs_t
	if err := unix.Statfs(dir, &st); err != nil {
		return fmt.Errorf("look at the file system of %s: %w", dir, err)
	}
	if name, ok := networkMagic[int64(uint32(st.Type))]; ok { //nolint:unconvert // the type differs between architectures
		return fmt.Errorf("%s: expected a local disk, found a network file system (%s), which keeps neither locks nor the order of writes; put the store on a local disk and copy it afterwards", dir, name)
	}
	return nil
}
