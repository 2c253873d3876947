package main
import (
 _ "github.com/BurntSushi/toml"
 _ "github.com/apache/arrow/go/v15/parquet/pqarrow"
 _ "gonum.org/v1/gonum/stat/distuv"
 _ "github.com/stretchr/testify/require"
 _ "github.com/spf13/cobra"
 _ "github.com/mattn/go-isatty"
 _ "github.com/rogpeppe/go-internal/testscript"
 _ "pgregory.net/rapid"
 _ "github.com/santhosh-tekuri/jsonschema/v6"
 _ "github.com/gowebpki/jcs"
 _ "github.com/pelletier/go-toml/v2/unstable"
)
func main(){}
