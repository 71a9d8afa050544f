#[path = "bulk/year_file.rs"]
mod year_file;
fn main(){
    let mut args=std::env::args().skip(1);
    let f=args.next().unwrap();
    let mut out=std::io::BufWriter::with_capacity(1<<20,std::fs::File::create(f).unwrap());
    println!("{}",year_file::write(1,&mut out).unwrap());
}
