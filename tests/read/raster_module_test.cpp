// The module that decodes TIFF and BMP: there when it is needed, not before, and missed in words.
#include "read/raster_module.h"

#include "endgrade/read.h"
#include "tests/read/reference_tools.h"

#include <gtest/gtest.h>

#include <cstdlib>
#include <thread>

namespace endgrade {
namespace {

std::string SmallBmp() { return Piped("ppmtobmp -quiet", PnmFrom(TestPicture(9, 5, 3))); }

bool IsLoaded(const std::string& library) {
  return BytesOf("/proc/self/maps").find(library) != std::string::npos;
}

// The tests of this file run in the order they stand in: once loaded, the module stays.

TEST(RasterModule, IsMissedInOneLineThatSaysWhatToDo) {
  const TemporaryFolder folder;
  setenv("ENDGRADE_MODULES", folder.path().c_str(), 1);
  const auto frame = DecodeFrame(SmallBmp(), "port-07.bmp");
  unsetenv("ENDGRADE_MODULES");
  ASSERT_FALSE(frame.ok());
  EXPECT_EQ(frame.error().kind, ErrorKind::kUnsupported);
  EXPECT_EQ(frame.error().Text(),
            "port-07.bmp: TIFF and BMP need the module endgrade_raster.so, and it is not in " +
                folder.path().string() +
                ". Export the picture as JPEG or PNG, or set ENDGRADE_MODULES to the folder that "
                "holds the module.");
}

TEST(RasterModule, IsRefusedWhereItIsNoLibraryOrAnother) {
  const TemporaryFolder folder;
  setenv("ENDGRADE_MODULES", folder.path().c_str(), 1);
  folder.Write("endgrade_raster.so", "not a library");
  const auto text = DecodeFrame(SmallBmp(), "x.bmp");
  ASSERT_FALSE(text.ok());
  EXPECT_EQ(text.error().kind, ErrorKind::kUnsupported);
  std::filesystem::remove(folder.path() / "endgrade_raster.so");
  const std::string source = folder.Write("other.c", "int other;\n").string();
  OutputOf("cc -shared -fPIC -o " + (folder.path() / "endgrade_raster.so").string() + " " + source);
  const auto other = DecodeFrame(SmallBmp(), "x.bmp");
  unsetenv("ENDGRADE_MODULES");
  ASSERT_FALSE(other.ok());
  EXPECT_NE(other.error().what.find("is of another version"), std::string::npos);
}

TEST(RasterModule, IsNotLoadedForJpegAndPng) {
  const std::string pgm = PnmFrom(TestPicture(9, 5, 1));
  EXPECT_TRUE(DecodeFrame(Piped("cjpeg", pgm), "").ok());
  EXPECT_TRUE(DecodeFrame(Piped("pnmtopng", pgm), "").ok());
  EXPECT_FALSE(IsLoaded("libopencv_imgcodecs"));
  EXPECT_FALSE(IsLoaded("libgdal"));
}

// A file whose header cannot be right costs nothing.
TEST(RasterModule, IsNotLoadedForABrokenHeader) {
  EXPECT_FALSE(DecodeFrame(SmallBmp().substr(0, 60), "").ok());
  EXPECT_FALSE(IsLoaded("libopencv_imgcodecs"));
}

TEST(RasterModule, IsFoundByProgramsOfTheBuildFromManyThreadsAtOnce) {
  const std::string bmp = SmallBmp();
  const cv::Mat expected = ParsePnm(Piped("bmptopnm -quiet", bmp)).samples;
  std::vector<std::thread> threads;
  std::vector<int> num_right(4);
  for (std::size_t i = 0; i < num_right.size(); ++i) {
    threads.emplace_back([&, i] {
      ReadOptions options;
      options.colour = true;
      for (int k = 0; k < 50; ++k) {
        const auto frame = DecodeFrame(bmp, "", options);
        num_right[i] += frame.ok() && SamePixels(frame->colour, expected) ? 1 : 0;
      }
    });
  }
  for (auto& thread : threads) thread.join();
  EXPECT_EQ(num_right, std::vector<int>(4, 50));
  EXPECT_TRUE(IsLoaded("libopencv_imgcodecs"));
}

TEST(RasterModule, IsLookedForBesideTheProgramFirstAndInTheInstallLast) {
  const auto folders = read::ModuleFolders();
  ASSERT_EQ(folders.size(), 3u);
  const auto program = std::filesystem::read_symlink("/proc/self/exe");
  EXPECT_EQ(folders[0].filename(), "endgrade");
  EXPECT_TRUE(folders[0].string().starts_with(program.parent_path().parent_path().string()));
  EXPECT_EQ(folders[1], std::filesystem::path(ENDGRADE_BINARY_DIR) / "lib/endgrade");
  EXPECT_TRUE(folders[2].is_absolute());
}

}  // namespace
}  // namespace endgrade
