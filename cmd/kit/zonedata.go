//go:build !js

package kit

import _ "time/tzdata" // for machines without a zone database; a browser's page has offsets alone
