# Writes endgrade_build.h with the version, source revision and compiler; run at every build so that
# the revision in the records is that of the source that was built, not of the last configure.
execute_process(COMMAND git -C ${SOURCE_DIR} describe --always --dirty --abbrev=10
                OUTPUT_VARIABLE revision OUTPUT_STRIP_TRAILING_WHITESPACE ERROR_QUIET)
if(NOT revision)
  set(revision "unknown-source")
endif()
file(WRITE ${OUTPUT}.new "#pragma once
#define ENDGRADE_VERSION \"${VERSION}\"
#define ENDGRADE_BUILD \"${revision} ${COMPILER} ${BUILD_TYPE}\"
")
execute_process(COMMAND ${CMAKE_COMMAND} -E copy_if_different ${OUTPUT}.new ${OUTPUT})
file(REMOVE ${OUTPUT}.new)
