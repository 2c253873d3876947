package bag

import (
	"fmt"
	"path/filepath"

	"fairlobe/pipeline/diag"
)

// Codes of the findings for which a bundle is refused. They are stable.
const (
	// The file.
	CodeMissing    = "bundle_missing"
	CodeFolder     = "bundle_is_folder"
	CodeNoFile     = "bundle_is_no_file" // a pipe, a device
	CodeUnreadable = "bundle_unreadable"
	CodeEmpty      = "bundle_empty"
	CodeTooLong    = "bundle_too_large"

	// The zip.
	CodeNoZip         = "no_zip"
	CodeCut           = "zip_cut"
	CodeBroken        = "zip_broken"
	CodeExtraBytes    = "zip_extra_bytes"
	CodeComment       = "zip_comment"
	CodeFeature       = "zip_feature"
	CodeMembers       = "too_many_members"
	CodeUnpacked      = "unpacked_too_large"
	CodeBomb          = "zip_bomb"
	CodeOverlap       = "members_overlap"
	CodeHeaders       = "headers_differ"
	CodeEncrypted     = "member_encrypted"
	CodeMethod        = "member_method"
	CodeLink          = "member_link"
	CodeSpecial       = "member_special"
	CodeSize          = "member_size"
	CodeDamaged       = "member_damaged"
	CodeNestedArchive = "zip_in_zip"

	// Names.
	CodeTraversal      = "name_traversal"
	CodeAbsolute       = "name_absolute"
	CodeDrive          = "name_drive"
	CodeBackslash      = "name_backslash"
	CodeDevice         = "name_device"
	CodeNameEnding     = "name_ending"
	CodeNameCharacters = "name_characters"
	CodeLongName       = "name_too_long"
	CodeDeepName       = "name_too_deep"
	CodeTwice          = "name_twice"
	CodeClash          = "name_clash"
	CodeTopFolder      = "top_folder"

	// The bag.
	CodeFetch             = "fetch_file"
	CodeUnexpected        = "unexpected_member"
	CodeNoBagit           = "bagit_missing"
	CodeBagitVersion      = "bagit_version"
	CodeBagitEncoding     = "bagit_encoding"
	CodeBagit             = "bagit_form"
	CodeNoInfo            = "bag_info_missing"
	CodeInfo              = "bag_info_form"
	CodeNoFormat          = "format_missing"
	CodeFormat            = "format_unknown"
	CodeNewerFormat       = "format_newer"
	CodeNoManifest        = "manifest_missing"
	CodeManifestAlgorithm = "manifest_algorithm"
	CodeManifestLine      = "manifest_line"
	CodeManifestTwice     = "manifest_twice"
	CodeManifestOrder     = "manifest_order"
	CodeNoSuchFile        = "manifest_without_file"
	CodeNotListed         = "file_not_in_manifest"
	CodeChecksum          = "wrong_checksum"
	CodeNoPayload         = "payload_empty"
	CodeOxum              = "payload_oxum"
	CodeIdentifier        = "wrong_identifier"

	// The target of WriteFolder.
	CodeTargetTaken    = "target_not_empty"
	CodeTargetNoFolder = "target_no_folder"
	CodeTargetHere     = "target_is_here"
	CodeTargetParent   = "target_parent"
)

const (
	mendAgain    = "ask the sender to share it again"
	mendAsWas    = "ask the sender for the zip as fairlobe wrote it, not unpacked and packed again"
	mendStranger = "fairlobe never writes such a bundle: ask the sender where the file comes from, and do not unpack it by other means"
	mendFolder   = "name a folder that does not exist yet"
)

// mendOf says what the receiver does about a finding.
func mendOf(code string) string {
	switch code {
	case CodeMissing:
		return "check the name and the folder of the bundle"
	case CodeFolder:
		return "give the zip file itself; if it was unpacked, ask the sender for the zip again"
	case CodeNoFile, CodeNoZip:
		return "give the zip file that fairlobe share wrote"
	case CodeUnreadable:
		return "look whether you may read the file, and whether its disk is all right"
	case CodeBroken, CodeDamaged, CodeChecksum:
		return "fetch the file again; if that does not help, " + mendAgain
	case CodeEmpty, CodeCut:
		return "fetch the file again: it did not arrive whole"
	case CodeComment, CodeExtraBytes, CodeTopFolder, CodeUnexpected, CodeFeature, CodeMethod, CodeEncrypted:
		return mendAsWas
	case CodeNewerFormat:
		return "get a newer fairlobe"
	case CodeTargetTaken, CodeTargetNoFolder, CodeTargetHere:
		return mendFolder
	case CodeTargetParent:
		return "make the folder above it first"
	case CodeTraversal, CodeAbsolute, CodeDrive, CodeBackslash, CodeDevice, CodeClash, CodeTwice, CodeLink, CodeSpecial,
		CodeBomb, CodeUnpacked, CodeMembers, CodeOverlap, CodeHeaders, CodeFetch, CodeNestedArchive:
		return mendStranger
	default:
		return mendAgain
	}
}

// findings are collected for one bundle.
type findings struct {
	file string
	list diag.List
}

// most is how many findings of one kind of check are told.
const most = 20

func (f *findings) add(code, format string, args ...any) {
	f.addAt(diag.Pos{File: f.file}, code, format, args...)
}

// addIn adds a finding about a file of the bag, whose name was checked; line 0 means the whole file.
func (f *findings) addIn(member string, line int, code, format string, args ...any) {
	f.addAt(diag.Pos{File: filepath.Join(f.file, filepath.FromSlash(member)), Line: line}, code, format, args...)
}

func (f *findings) addAt(pos diag.Pos, code, format string, args ...any) {
	if len(f.list) < most {
		f.list = append(f.list, diag.Diag{Pos: pos, Code: code, Msg: fmt.Sprintf(format, args...), Mend: mendOf(code)})
	}
}

// refuse is a single finding.
func (f *findings) refuse(code, format string, args ...any) error {
	f.add(code, format, args...)
	return f.list.Err()
}
